//! Passes that answer several questions at once: the same elimination with a few inputs changed, differently for each
//! lane.
//!
//! A question about a few variables changes few tables on the way up; the others stand as they are and are read as
//! plain numbers. Scales are those of the plain pass, so that every lane is relative to it.

use super::eliminate::{Program, Upward};
use super::kernel::{ADJOINT_FIRST, ADJOINT_SECOND, FORWARD, LANES, Lanes};

/// Memory that passes over lanes use again.
#[derive(Default)]
pub(super) struct Memory {
    cells: Vec<Lanes>,
    adjoints: Vec<Lanes>,
}

/// An up pass over lanes.
pub(super) struct LaneUpward {
    /// For each table where its lanes begin; `None` where it is that of the plain pass.
    place: Vec<Option<usize>>,
    cells: Vec<Lanes>,
    /// For each finished table the total relative to the plain pass; `None` where it is the same.
    ratios: Vec<Option<Lanes>>,
}

impl LaneUpward {
    /// The evidence of each lane relative to that of the plain pass.
    pub(super) fn evidence(&self) -> [f64; LANES] {
        self.ratios.iter().flatten().fold(Lanes::all(1.0), |product, &ratio| product * ratio).0
    }

    /// Gives the memory back.
    pub(super) fn release(self, memory: &mut Memory) {
        memory.cells = self.cells;
    }
}

/// Which finished table each table flows into; the same for every question.
pub(super) fn ends(program: &Program) -> Vec<usize> {
    let mut end = vec![usize::MAX; program.slots().len()];
    for (at, &root) in program.roots.iter().enumerate() {
        end[root] = at;
    }
    for op in program.ops().iter().rev() {
        (end[op.a], end[op.b]) = (end[op.out], end[op.out]);
    }
    end
}

/// Which tables the down pass must reach for the adjoints of `inputs`.
pub(super) fn on_the_way(program: &Program, inputs: &[usize]) -> Vec<bool> {
    let mut wanted = vec![false; program.slots().len()];
    for input in inputs {
        wanted[input + 1] = true;
    }
    for op in program.ops() {
        wanted[op.out] = wanted[op.out] || wanted[op.a] || wanted[op.b];
    }
    wanted
}

/// The up pass where some inputs have other tables (over one variable), lane by lane.
pub(super) fn up(
    program: &Program,
    plain: &Upward,
    changed: &[(usize, Vec<Lanes>)],
    memory: &mut Memory,
) -> LaneUpward {
    let slots = program.slots();
    let mut upward = LaneUpward {
        place: vec![None; slots.len()],
        cells: std::mem::take(&mut memory.cells),
        ratios: vec![None; program.roots.len()],
    };
    upward.cells.clear();
    for (input, table) in changed {
        upward.place[input + 1] = Some(upward.cells.len());
        upward.cells.extend(table.iter().map(|&cell| cell * plain.scales[*input]));
    }
    let of_ops = &plain.scales[plain.scales.len() - program.ops().len()..];
    for (op, &scale) in program.ops().iter().zip(of_ops) {
        let places = (upward.place[op.a], upward.place[op.b]);
        if places == (None, None) {
            continue;
        }
        let at = upward.cells.len();
        upward.place[op.out] = Some(at);
        upward.cells.resize(at + slots[op.out].len, Lanes::default());
        let (earlier, out) = upward.cells.split_at_mut(at);
        let (a, b) = (slots[op.a].of(&plain.values), slots[op.b].of(&plain.values));
        match places {
            (Some(at), None) => op.product.add_products(FORWARD, out, &earlier[at..at + a.len()], b),
            (None, Some(at)) => op.product.add_products(FORWARD, out, a, &earlier[at..at + b.len()]),
            (Some(x), Some(y)) => {
                op.product.add_products(FORWARD, out, &earlier[x..x + a.len()], &earlier[y..y + b.len()]);
            }
            (None, None) => {}
        }
        rescale(out, scale);
    }
    for (&root, ratio) in program.roots.iter().zip(&mut upward.ratios) {
        *ratio = upward.place[root].map(|at| upward.cells[at] * (1.0 / slots[root].of(&plain.values)[0]));
    }
    upward
}

/// The down pass for the adjoints of `inputs`, each handed to `read` in the input's own order, relative to the evidence
/// of the plain pass. Inputs whose part of the graph the lanes do not touch are left out: for them nothing is changed
/// but the evidence.
pub(super) fn down(
    program: &Program,
    plain: &Upward,
    upward: &LaneUpward,
    wanted: &[bool],
    ends: &[usize],
    memory: &mut Memory,
    mut read: impl FnMut(usize, &[Lanes], f64),
) {
    let slots = program.slots();
    let adjoints = &mut memory.adjoints;
    adjoints.resize(program.cells, Lanes::default());
    for (at, &root) in program.roots.iter().enumerate() {
        if upward.ratios[at].is_some() {
            let others = upward.ratios.iter().enumerate().filter(|&(other, _)| other != at).filter_map(|(_, r)| *r);
            let others = others.fold(Lanes::all(1.0), |product, ratio| product * ratio);
            adjoints[slots[root].offset] = others * (1.0 / slots[root].of(&plain.values)[0]);
        }
    }
    let inputs = plain.scales.len() - program.ops().len();
    for (op, &scale) in program.ops().iter().zip(&plain.scales[inputs..]).rev() {
        if !wanted[op.out] || upward.ratios[ends[op.out]].is_none() {
            continue;
        }
        let (earlier, rest) = adjoints.split_at_mut(slots[op.out].offset);
        let out = &mut rest[..slots[op.out].len];
        rescale(out, scale);
        for (to, from, roles) in [(op.a, op.b, ADJOINT_FIRST), (op.b, op.a, ADJOINT_SECOND)] {
            if !wanted[to] {
                continue;
            }
            let slot = &slots[to];
            let cells = &mut earlier[slot.offset..slot.offset + slot.len];
            // Each table goes into one step only, so that what stands here is from another pass.
            cells.fill(Lanes::default());
            match upward.place[from] {
                Some(at) => op.product.add_products(roles, cells, out, &upward.cells[at..at + slots[from].len]),
                None => op.product.add_products(roles, cells, out, slots[from].of(&plain.values)),
            }
        }
    }
    for input in 0..inputs {
        let slot = &slots[input + 1];
        if wanted[input + 1] && upward.ratios[ends[input + 1]].is_some() && slot.scope.len() == 1 {
            read(input, &adjoints[slot.offset..slot.offset + slot.len], plain.scales[input]);
        }
    }
}

fn rescale(cells: &mut [Lanes], scale: f64) {
    #[expect(clippy::float_cmp, reason = "a scale of exactly 1 changes nothing")]
    if scale != 1.0 {
        for cell in cells {
            *cell = *cell * scale;
        }
    }
}
