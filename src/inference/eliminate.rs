//! Bucket elimination as a straight program: an up pass that multiplies and sums, and a down pass that runs it in
//! reverse for the adjoint of every table (no division anywhere).
//!
//! Tables may be signed, so the up pass carries a bound on the rounding error left behind where large numbers cancel.

use super::kernel::{ADJOINT_FIRST, ADJOINT_SECOND, FORWARD, Loop};

/// One step: `out = sum over the bucket's variable of a * b`, or just `a * b`.
#[derive(Debug)]
pub(super) struct Op {
    pub(super) a: usize,
    pub(super) b: usize,
    pub(super) out: usize,
    /// The variable summed over; `None` where this is a product only.
    pub(super) over: Option<usize>,
    pub(super) product: Loop,
    /// How many states are summed over; 1 where this is a product only.
    summed: usize,
}

/// Where a table lies, and over which variables (in elimination order).
#[derive(Debug)]
pub(super) struct Slot {
    pub(super) offset: usize,
    pub(super) len: usize,
    pub(super) scope: Vec<usize>,
    /// Whether the down pass is to reach it.
    pub(super) wanted: bool,
}

impl Slot {
    /// Its cells among the values of an up pass.
    pub(super) fn of<'a>(&self, values: &'a [f64]) -> &'a [f64] {
        &values[self.offset..self.offset + self.len]
    }
}

/// The tables that met when a variable was summed out; together they are its distribution given the later ones.
#[derive(Debug)]
pub(super) struct Bucket {
    pub(super) variable: usize,
    members: Vec<usize>,
}

/// A compiled elimination.
#[derive(Debug)]
pub(super) struct Program {
    slots: Vec<Slot>,
    /// For each input, where the cells of its sorted table come from; `None` where the order is the same.
    sources: Vec<Option<Vec<u32>>>,
    ops: Vec<Op>,
    pub(super) roots: Vec<usize>,
    buckets: Vec<Bucket>,
    pub(super) cells: usize,
}

/// An input's variables (as its table lists them, C order) and whether its adjoint is wanted.
pub(super) struct Input<'a> {
    pub(super) scope: &'a [usize],
    pub(super) wanted: bool,
}

/// The tables of an up pass.
#[derive(Clone, Debug)]
pub(super) struct Upward {
    pub(super) values: Vec<f64>,
    /// What each input, then each operation's result, was multiplied by: powers of two.
    pub(super) scales: Vec<f64>,
    bounds: Vec<Bound>,
    /// Natural log of the absolute value of the total.
    pub(super) ln: f64,
    /// Whether the total is above zero.
    pub(super) positive: bool,
}

/// What cancellation may have cost the cells of an up pass.
#[derive(Clone, Debug)]
pub(super) struct Errors {
    cells: Vec<f64>,
    touched: Vec<bool>,
    /// The relative error of the total, at most.
    pub(super) total: f64,
}

/// What is known of the numbers in a slot.
#[derive(Clone, Copy, Debug)]
struct Bound {
    max: f64,
    signed: bool,
}

impl Program {
    /// Compiles `inputs` over variables of `cards` states along `order`, which names every variable.
    pub(super) fn new(cards: &[usize], inputs: &[Input<'_>], order: &[usize]) -> Self {
        let mut position = vec![usize::MAX; cards.len()];
        order.iter().enumerate().for_each(|(i, &v)| position[v] = i);
        let mut program =
            Self { slots: vec![], sources: vec![], ops: vec![], roots: vec![], buckets: vec![], cells: 0 };
        let one = program.slot(cards, vec![], false);
        let mut waiting: Vec<Vec<usize>> = vec![vec![]; order.len()];
        for input in inputs {
            let mut scope = input.scope.to_vec();
            scope.sort_unstable_by_key(|&v| position[v]);
            program.sources.push(permutation(cards, input.scope, &scope));
            let slot = program.slot(cards, scope, input.wanted);
            program.file(slot, &position, &mut waiting);
        }
        for (at, &variable) in order.iter().enumerate() {
            let members = std::mem::take(&mut waiting[at]);
            program.buckets.push(Bucket { variable, members: members.clone() });
            let out = program.bucket(cards, &position, variable, members, one);
            program.file(out, &position, &mut waiting);
        }
        program
    }

    fn slot(&mut self, cards: &[usize], scope: Vec<usize>, wanted: bool) -> usize {
        let len = scope.iter().map(|&v| cards[v]).product();
        self.slots.push(Slot { offset: self.cells, len, scope, wanted });
        self.cells += len;
        self.slots.len() - 1
    }

    /// Puts a table with the first of its variables to go, or with the finished ones.
    fn file(&mut self, slot: usize, position: &[usize], waiting: &mut [Vec<usize>]) {
        match self.slots[slot].scope.first() {
            Some(&v) => waiting[position[v]].push(slot),
            None => self.roots.push(slot),
        }
    }

    /// Multiplies the members of a bucket and fuses the last product with the sum. First come those that the down pass
    /// need not reach, so that it runs over their product at once; within both groups the smallest.
    fn bucket(
        &mut self,
        cards: &[usize],
        position: &[usize],
        variable: usize,
        members: Vec<usize>,
        one: usize,
    ) -> usize {
        let (mut members, given): (Vec<usize>, Vec<usize>) =
            members.into_iter().partition(|&member| self.slots[member].wanted);
        let last = if members.is_empty() { 2 } else { 1 };
        let given = self.narrowed(cards, position, given, last);
        members.extend(given);
        let members = self.narrowed(cards, position, members, 2);
        let first = members.first().copied().unwrap_or(one);
        let second = members.get(1).copied().unwrap_or(one);
        self.op(cards, position, first, second, Some(variable))
    }

    /// Multiplies tables two by two until `few` are left: always the smallest with whichever makes the smallest.
    fn narrowed(&mut self, cards: &[usize], position: &[usize], mut tables: Vec<usize>, few: usize) -> Vec<usize> {
        while tables.len() > few {
            tables.sort_by_key(|&m| (self.slots[m].len, m));
            let first = tables.remove(0);
            let union_len = |m: usize| {
                let (a, b) = (&self.slots[first], &self.slots[m]);
                let shared: usize = a.scope.iter().filter(|v| b.scope.contains(v)).map(|&v| cards[v]).product();
                a.len * b.len / shared
            };
            let at = (0..tables.len()).min_by_key(|&i| (union_len(tables[i]), i)).unwrap_or(0);
            let second = tables.remove(at);
            let product = self.op(cards, position, first, second, None);
            tables.push(product);
        }
        tables
    }

    fn op(&mut self, cards: &[usize], position: &[usize], a: usize, b: usize, sum_over: Option<usize>) -> usize {
        let mut union = self.slots[a].scope.clone();
        union.extend(self.slots[b].scope.iter().filter(|v| !self.slots[a].scope.contains(v)));
        // A variable in no table at all still counts its states.
        if let Some(v) = sum_over.filter(|v| !union.contains(v)) {
            union.push(v);
        }
        union.sort_unstable_by_key(|&v| position[v]);
        let scope: Vec<usize> = union.iter().copied().filter(|&v| Some(v) != sum_over).collect();
        let wanted = self.slots[a].wanted || self.slots[b].wanted;
        let out = self.slot(cards, scope, wanted);
        let step = |slot: usize, v: usize| stride(cards, &self.slots[slot].scope, v);
        let product = Loop::new(union.iter().map(|&v| (cards[v], [step(out, v), step(a, v), step(b, v)])));
        self.ops.push(Op { a, b, out, over: sum_over, product, summed: sum_over.map_or(1, |v| cards[v]) });
        out
    }

    /// The up pass over `tables`, one for each input, in the order of the inputs.
    pub(super) fn up(&self, tables: &[&[f64]]) -> Upward {
        let mut values = vec![0.0; self.cells];
        values[self.slots[0].offset] = 1.0;
        let mut upward = Upward {
            values,
            scales: vec![1.0; tables.len() + self.ops.len()],
            bounds: vec![Bound { max: 1.0, signed: false }; self.slots.len()],
            ln: 0.0,
            positive: true,
        };
        for (i, table) in tables.iter().enumerate() {
            self.fill(&mut upward, i, table);
        }
        for at in 0..self.ops.len() {
            self.step(&mut upward, at);
        }
        self.total(&mut upward);
        upward
    }

    /// `upward` where the tables of some inputs are others: only the steps that hang on them are taken again.
    pub(super) fn up_changed(&self, upward: &Upward, changed: &[(usize, Vec<f64>)]) -> Upward {
        let mut upward = upward.clone();
        let mut stale = vec![false; self.slots.len()];
        for (input, table) in changed {
            self.fill(&mut upward, *input, table);
            stale[input + 1] = true;
        }
        for (at, op) in self.ops.iter().enumerate() {
            if stale[op.a] || stale[op.b] {
                stale[op.out] = true;
                let slot = &self.slots[op.out];
                upward.values[slot.offset..slot.offset + slot.len].fill(0.0);
                self.step(&mut upward, at);
            }
        }
        self.total(&mut upward);
        upward
    }

    /// Whether each table hangs on some of the `inputs` (places among the inputs).
    pub(super) fn hanging(&self, inputs: std::ops::Range<usize>) -> Vec<bool> {
        let mut hangs = vec![false; self.slots.len()];
        hangs[1..][inputs].fill(true);
        for op in &self.ops {
            hangs[op.out] = hangs[op.a] || hangs[op.b];
        }
        hangs
    }

    /// Takes the steps of an up pass again that hang on some inputs; `tables` are the new ones, by input.
    pub(super) fn up_moved<'a>(
        &self,
        upward: &mut Upward,
        hangs: &[bool],
        tables: impl IntoIterator<Item = (usize, &'a [f64])>,
    ) {
        for (input, table) in tables {
            self.fill(upward, input, table);
        }
        for (at, op) in self.ops.iter().enumerate() {
            if hangs[op.out] {
                let slot = &self.slots[op.out];
                upward.values[slot.offset..slot.offset + slot.len].fill(0.0);
                self.step(upward, at);
            }
        }
        self.total(upward);
    }

    /// Puts in the table of an input.
    fn fill(&self, upward: &mut Upward, input: usize, table: &[f64]) {
        let slot = &self.slots[input + 1];
        let cells = &mut upward.values[slot.offset..slot.offset + slot.len];
        match &self.sources[input] {
            None => cells.copy_from_slice(table),
            Some(source) => cells.iter_mut().zip(source).for_each(|(cell, &from)| *cell = table[from as usize]),
        }
        let (max, signed) = extent(cells);
        let scale = rescale(cells, max);
        upward.scales[input] = scale;
        upward.bounds[input + 1] = Bound { max: max * scale, signed };
    }

    /// Takes a step, whose result must be zero.
    fn step(&self, upward: &mut Upward, at: usize) {
        let op = &self.ops[at];
        let (earlier, rest) = upward.values.split_at_mut(self.slots[op.out].offset);
        let out = &mut rest[..self.slots[op.out].len];
        let (a, b) = (self.view(earlier, op.a), self.view(earlier, op.b));
        op.product.add_products(FORWARD, out, a, b);
        let (max, signed) = extent(out);
        let scale = rescale(out, max);
        upward.bounds[op.out] = Bound { max: max * scale, signed };
        upward.scales[self.sources.len() + at] = scale;
    }

    /// Brings the finished tables together.
    fn total(&self, upward: &mut Upward) {
        let scales = upward.scales.iter().filter(|&&scale| scale != 1.0);
        let mut ln = -scales.map(|&scale| libm::log(scale)).sum::<f64>();
        let mut positive = true;
        for &root in &self.roots {
            let total = upward.values[self.slots[root].offset];
            if total != 1.0 {
                ln += libm::log(total.abs());
            }
            positive = if total > 0.0 { positive } else { total < 0.0 && !positive };
        }
        (upward.ln, upward.positive) = (ln, positive && ln > f64::NEG_INFINITY);
    }

    fn view<'a>(&self, values: &'a [f64], slot: usize) -> &'a [f64] {
        self.slots[slot].of(values)
    }

    /// The down pass: for each wanted input the derivative of the natural log of the total by each of its cells, in
    /// the input's own order; empty for the others. `adjoints` is memory to use again.
    pub(super) fn down(&self, upward: &Upward, adjoints: &mut Vec<f64>) -> Vec<Vec<f64>> {
        self.down_to(upward, adjoints, |_| true)
    }

    /// The same for those inputs only whose tables, and all that hang on them, are `asked` for.
    pub(super) fn down_to(
        &self,
        upward: &Upward,
        adjoints: &mut Vec<f64>,
        asked: impl Fn(usize) -> bool,
    ) -> Vec<Vec<f64>> {
        self.walk_down(upward, adjoints, &asked);
        let inputs = self.sources.iter().zip(&upward.scales).enumerate();
        inputs
            .map(|(input, (source, &scale))| {
                let slot = &self.slots[input + 1];
                if !slot.wanted || !asked(input + 1) {
                    return vec![];
                }
                let cells = slot.of(adjoints).iter().map(|cell| cell * scale);
                let Some(source) = source else { return cells.collect() };
                let mut own = vec![0.0; slot.len];
                source.iter().zip(cells).for_each(|(&to, cell)| own[to as usize] = cell);
                own
            })
            .collect()
    }

    /// The down pass for the first `inputs`, each over one variable: hands the derivatives of those to `read` that
    /// [`Program::down_to`] would give.
    pub(super) fn down_each(
        &self,
        upward: &Upward,
        inputs: usize,
        asked: impl Fn(usize) -> bool,
        mut read: impl FnMut(usize, &[f64]),
    ) {
        let mut adjoints = vec![];
        self.walk_down(upward, &mut adjoints, &asked);
        for (input, &scale) in upward.scales[..inputs].iter().enumerate() {
            let slot = &self.slots[input + 1];
            if slot.wanted && asked(input + 1) {
                let cells = &mut adjoints[slot.offset..slot.offset + slot.len];
                rescale_by(cells, scale);
                read(input, cells);
            }
        }
    }

    fn walk_down(&self, upward: &Upward, adjoints: &mut Vec<f64>, asked: &impl Fn(usize) -> bool) {
        let values = &upward.values;
        let reaches = |slot: usize| self.slots[slot].wanted && asked(slot);
        adjoints.resize(self.cells, 0.0);
        for &root in &self.roots {
            adjoints[self.slots[root].offset] = 1.0 / values[self.slots[root].offset];
        }
        for (op, &scale) in self.ops.iter().zip(&upward.scales[self.sources.len()..]).rev() {
            if !reaches(op.out) {
                continue;
            }
            let (earlier, rest) = adjoints.split_at_mut(self.slots[op.out].offset);
            let out = &mut rest[..self.slots[op.out].len];
            rescale_by(out, scale);
            for (to, from, roles) in [(op.a, op.b, ADJOINT_FIRST), (op.b, op.a, ADJOINT_SECOND)] {
                if reaches(to) {
                    let slot = &self.slots[to];
                    let cells = &mut earlier[slot.offset..slot.offset + slot.len];
                    // Each table goes into one step only, so that what stands here is from another pass.
                    cells.fill(0.0);
                    op.product.add_products(roles, cells, out, self.view(values, from));
                }
            }
        }
    }

    /// A bound on the relative error of the total of an up pass due to cancellation; 0 where nothing cancels.
    ///
    /// Cost: about that of the up pass where much is signed.
    pub(super) fn rough_error(&self, upward: &Upward) -> f64 {
        // Absolute error of any cell of a table; 0 means that every cell is right to a few units in its last place.
        let mut errors = vec![0.0; self.slots.len()];
        for (op, &scale) in self.ops.iter().zip(&upward.scales[self.sources.len()..]) {
            let (a, b) = (self.view(&upward.values, op.a), self.view(&upward.values, op.b));
            let bounds = [upward.bounds[op.a], upward.bounds[op.b]];
            errors[op.out] = scale * op.error([a, b], bounds, [errors[op.a], errors[op.b]]);
        }
        let of_root = |&root: &usize| errors[root] / self.view(&upward.values, root)[0].abs();
        self.roots.iter().map(of_root).sum()
    }

    /// A closer bound than [`Program::rough_error`], cell by cell, for about four times the cost of an up pass.
    pub(super) fn errors(&self, upward: &Upward) -> Errors {
        let mut errors = Errors { cells: vec![0.0; self.cells], touched: vec![false; self.slots.len()], total: 0.0 };
        let mut sizes = [vec![], vec![]];
        for at in 0..self.ops.len() {
            self.follow(upward, &mut errors, at, &mut sizes);
        }
        errors.total = self.total_error(upward, &errors);
        errors
    }

    /// The same where `upward` differs from the pass of `errors` in some inputs only; the bound on the total.
    pub(super) fn errors_changed(
        &self,
        upward: &Upward,
        errors: &Errors,
        changed: impl IntoIterator<Item = usize>,
    ) -> f64 {
        let mut errors = errors.clone();
        let mut stale = vec![false; self.slots.len()];
        changed.into_iter().for_each(|input| stale[input + 1] = true);
        let mut sizes = [vec![], vec![]];
        for (at, op) in self.ops.iter().enumerate() {
            if stale[op.a] || stale[op.b] {
                stale[op.out] = true;
                let slot = &self.slots[op.out];
                errors.cells[slot.offset..slot.offset + slot.len].fill(0.0);
                self.follow(upward, &mut errors, at, &mut sizes);
            }
        }
        self.total_error(upward, &errors)
    }

    /// Follows the errors through a step, whose own must be zero.
    fn follow(&self, upward: &Upward, errors: &mut Errors, at: usize, sizes: &mut [Vec<f64>; 2]) {
        let op = &self.ops[at];
        let cancels = op.cancels([upward.bounds[op.a], upward.bounds[op.b]]);
        let touched = (errors.touched[op.a], errors.touched[op.b]);
        errors.touched[op.out] = touched.0 || touched.1 || cancels;
        if !errors.touched[op.out] {
            return;
        }
        let [a, b] = sizes;
        for (size, slot) in [(&mut *a, op.a), (&mut *b, op.b)] {
            size.clear();
            size.extend(self.view(&upward.values, slot).iter().map(|value| value.abs()));
        }
        let (earlier, rest) = errors.cells.split_at_mut(self.slots[op.out].offset);
        let out = &mut rest[..self.slots[op.out].len];
        if touched.1 {
            op.product.add_products(FORWARD, out, a, self.view(earlier, op.b));
        }
        // What a brings along and what this step loses go with b alike.
        if cancels {
            for size in &mut *a {
                *size *= f64::EPSILON;
            }
        }
        match (touched.0, cancels) {
            (true, true) => {
                a.iter_mut().zip(self.view(earlier, op.a)).for_each(|(size, error)| *size += error);
                op.product.add_products(FORWARD, out, a, b);
            }
            (true, false) => op.product.add_products(FORWARD, out, self.view(earlier, op.a), b),
            (false, true) => op.product.add_products(FORWARD, out, a, b),
            (false, false) => {}
        }
        rescale_by(out, upward.scales[self.sources.len() + at]);
    }

    fn total_error(&self, upward: &Upward, errors: &Errors) -> f64 {
        let of_root = |&root: &usize| errors.cells[self.slots[root].offset] / self.view(&upward.values, root)[0].abs();
        self.roots.iter().map(of_root).sum()
    }

    /// The multiplications and additions of an up pass and of the down pass that belongs to it.
    pub(super) fn work(&self) -> usize {
        let wanted = |slot: usize| usize::from(self.slots[slot].wanted);
        self.ops.iter().map(|op| op.product.len() * (1 + wanted(op.a) + wanted(op.b))).sum()
    }

    /// The steps in the order of the up pass.
    pub(super) fn ops(&self) -> &[Op] {
        &self.ops
    }

    /// The tables: a constant, one for each input, one for each step.
    pub(super) fn slots(&self) -> &[Slot] {
        &self.slots
    }

    /// The buckets in elimination order.
    pub(super) fn buckets(&self) -> &[Bucket] {
        &self.buckets
    }

    /// The product of a bucket's tables: its variable first, then the variables it depends on, in C order.
    ///
    /// Drawn last bucket first, the variables follow the joint distribution (tables must not be signed).
    pub(super) fn conditional(&self, cards: &[usize], bucket: &Bucket, upward: &Upward) -> (Vec<usize>, Vec<f64>) {
        let mut given: Vec<usize> = Vec::new();
        for &member in &bucket.members {
            for &v in &self.slots[member].scope {
                if v != bucket.variable && !given.contains(&v) {
                    given.push(v);
                }
            }
        }
        let axes: Vec<usize> = std::iter::once(bucket.variable).chain(given.iter().copied()).collect();
        let len = axes.iter().map(|&v| cards[v]).product();
        let mut product = vec![1.0; len];
        for &member in &bucket.members {
            let scope = &self.slots[member].scope;
            let times =
                Loop::new(axes.iter().map(|&v| (cards[v], [stride(cards, &axes, v), stride(cards, scope, v), 0])));
            let mut spread = vec![0.0; len];
            times.add_products(FORWARD, &mut spread, self.view(&upward.values, member), &[1.0]);
            product.iter_mut().zip(&spread).for_each(|(p, s)| *p *= s);
        }
        (given, product)
    }
}

impl Op {
    /// A bound on the absolute error of the cells of the result: what the operands bring along, plus what is lost
    /// where signed terms cancel. Sums of terms of one sign lose nothing to speak of.
    fn error(&self, [a, b]: [&[f64]; 2], bounds: [Bound; 2], [error_a, error_b]: [f64; 2]) -> f64 {
        let cancels = self.cancels(bounds);
        if error_a == 0.0 && error_b == 0.0 && !cancels {
            return 0.0;
        }
        let [of_a, of_b] = bounds;
        let (sum_a, sum_b) = (self.largest_sum(a, of_a.max), self.largest_sum(b, of_b.max));
        let lost = if cancels { f64::EPSILON * (sum_a * of_b.max).min(sum_b * of_a.max) } else { 0.0 };
        error_a * sum_b + error_b * sum_a + lost
    }

    /// Whether terms of different signs may meet.
    fn cancels(&self, [of_a, of_b]: [Bound; 2]) -> bool {
        self.summed > 1 && (of_a.signed || of_b.signed)
    }

    /// The largest sum over the summed variable of the table's absolute values.
    fn largest_sum(&self, cells: &[f64], max: f64) -> f64 {
        let rows = cells.len() / self.summed;
        if self.summed == 1 || rows == 0 || cells.len() > 4096 {
            return max * self.summed as f64;
        }
        if self.summed == 2 {
            let (first, second) = cells.split_at(rows);
            let sum = |(a, b): (&f64, &f64)| a.abs() + b.abs();
            return first.iter().zip(second).map(sum).fold(0.0, |most, sum| if sum > most { sum } else { most });
        }
        (0..rows).map(|i| cells.iter().skip(i).step_by(rows).map(|cell| cell.abs()).sum::<f64>()).fold(0.0, f64::max)
    }
}

/// How far apart two cells are that differ by one in `v`, in a table over `scope` in C order; 0 where `v` is not in it.
pub(super) fn stride(cards: &[usize], scope: &[usize], v: usize) -> usize {
    scope.iter().position(|&u| u == v).map_or(0, |at| scope[at + 1..].iter().map(|&u| cards[u]).product())
}

/// For each cell of a table over `to` the cell of the same table over `from`; `None` where that is the same order.
fn permutation(cards: &[usize], from: &[usize], to: &[usize]) -> Option<Vec<u32>> {
    if from == to {
        return None;
    }
    let mut source = vec![0u32];
    for &v in to {
        let step = stride(cards, from, v);
        source = source.iter().flat_map(|&base| (0..cards[v]).map(move |s| base + (s * step) as u32)).collect();
    }
    Some(source)
}

/// The largest absolute value and whether any value is below zero.
fn extent(cells: &[f64]) -> (f64, bool) {
    // Several at a time, so that the comparisons do not wait for each other.
    const ABREAST: usize = 8;
    let (mut least, mut most) = ([0.0f64; ABREAST], [0.0f64; ABREAST]);
    let chunks = cells.chunks_exact(ABREAST);
    for (i, &cell) in chunks.remainder().iter().enumerate() {
        least[i] = lesser(cell, least[i]);
        most[i] = greater(cell, most[i]);
    }
    for chunk in chunks {
        for i in 0..ABREAST {
            least[i] = lesser(chunk[i], least[i]);
            most[i] = greater(chunk[i], most[i]);
        }
    }
    let (least, most) = (least.into_iter().fold(0.0, lesser), most.into_iter().fold(0.0, greater));
    (most.max(-least), least < 0.0)
}

fn lesser(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}

fn greater(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

/// Brings cells whose largest is `max` to a handy size; returns the power of two that did it, so nothing is rounded.
fn rescale(cells: &mut [f64], max: f64) -> f64 {
    const HANDY: std::ops::Range<f64> = 1e-18..1e18;
    if HANDY.contains(&max) || max == 0.0 || !max.is_finite() {
        return 1.0;
    }
    let (_, exponent) = libm::frexp(max);
    let scale = libm::ldexp(1.0, (-exponent).clamp(-1000, 1000));
    rescale_by(cells, scale);
    scale
}

fn rescale_by(cells: &mut [f64], scale: f64) {
    if scale != 1.0 {
        for cell in cells.iter_mut() {
            *cell *= scale;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// a -> b -> c with hand numbers: P(c = 1) = 0.7 * 0.1 + 0.3 * 0.8 = 0.31 for P(b) of 0.7, 0.3.
    #[test]
    fn up_and_down_on_a_chain() {
        let cards = [2, 2, 2];
        let (a, ab, bc) = ([0.5, 0.5], [0.9, 0.1, 0.5, 0.5], [0.9, 0.1, 0.2, 0.8]);
        let seen = [0.0, 1.0];
        let inputs = [
            Input { scope: &[0], wanted: true },
            Input { scope: &[0, 1], wanted: false },
            Input { scope: &[1, 2], wanted: false },
            Input { scope: &[2], wanted: true },
        ];
        for order in [[0, 1, 2], [2, 1, 0], [1, 0, 2]] {
            let program = Program::new(&cards, &inputs, &order);
            let up = program.up(&[&a, &ab, &bc, &seen]);
            assert!((libm::exp(up.ln) - 0.31).abs() < 1e-15);
            let down = program.down(&up, &mut vec![]);
            let posterior: Vec<f64> = a.iter().zip(&down[0]).map(|(p, d)| p * d).collect();
            assert!((posterior[1] - 0.5 * (0.5 * 0.1 + 0.5 * 0.8) / 0.31).abs() < 1e-15);
            assert!(down[1].is_empty());
        }
    }

    #[test]
    fn cancellation_shows_in_the_error() {
        let inputs = [Input { scope: &[0], wanted: true }, Input { scope: &[0], wanted: false }];
        let program = Program::new(&[2], &inputs, &[0]);
        let up = program.up(&[&[1.0, -1.0], &[1.0, 1.0 - 1e-9]]);
        let (rough, close) = (program.rough_error(&up), program.errors(&up).total);
        assert!(up.positive && rough > 1e-8 && close > 1e-8, "errors {rough} and {close}");
    }

    #[test]
    fn tiny_numbers_do_not_vanish() {
        let tiny = [1e-200, 1e-200];
        let scopes: Vec<Vec<usize>> = (0..9).map(|i| vec![i, i + 1]).collect();
        let table = [1e-200; 4];
        let mut inputs: Vec<Input> = scopes.iter().map(|s| Input { scope: s, wanted: false }).collect();
        inputs.push(Input { scope: &[0], wanted: true });
        let mut tables: Vec<&[f64]> = vec![&table; 9];
        tables.push(&tiny);
        let program = Program::new(&[2; 10], &inputs, &(0..10).collect::<Vec<_>>());
        let up = program.up(&tables);
        let expected = 10.0 * libm::log(1e-200) + 10.0 * libm::log(2.0);
        assert!((up.ln - expected).abs() < 1e-9 * expected.abs(), "{} {expected}", up.ln);
    }
}
