//! The one loop everything runs through: `dst += x * y` over a box of indices, each operand with its own strides.
//!
//! Products, sums of products and their adjoints are all this loop with the operands in other roles.

/// One axis of the box: its length and how far each of the three operands moves along it.
#[derive(Clone, Copy, Debug)]
struct Axis {
    n: usize,
    step: [usize; 3],
}

/// A box of indices over three operands (0: the result, 1 and 2: the factors), outermost axis first, neighbors merged
/// wherever all three operands run on without a gap.
#[derive(Clone, Debug)]
pub(super) struct Loop {
    axes: Vec<Axis>,
}

/// Which operand is written and which two are read, as positions 0, 1, 2 of the loop's operands.
pub(super) type Roles = [usize; 3];

/// The forward product.
pub(super) const FORWARD: Roles = [0, 1, 2];
/// The adjoint of the first factor.
pub(super) const ADJOINT_FIRST: Roles = [1, 0, 2];
/// The adjoint of the second factor.
pub(super) const ADJOINT_SECOND: Roles = [2, 0, 1];

impl Loop {
    /// A loop over `axes` (length, strides of the three operands), outermost first.
    pub(super) fn new(axes: impl IntoIterator<Item = (usize, [usize; 3])>) -> Self {
        let mut merged: Vec<Axis> = Vec::new();
        for (n, step) in axes {
            if n == 1 {
                continue;
            }
            match merged.last_mut() {
                Some(outer) if (0..3).all(|i| outer.step[i] == step[i] * n) => {
                    outer.n *= n;
                    outer.step = step;
                }
                _ => merged.push(Axis { n, step }),
            }
        }
        Self { axes: merged }
    }

    /// Adds the products to `dst`. The slices start at the operands' first cells.
    pub(super) fn add_products(&self, roles: Roles, dst: &mut [f64], x: &[f64], y: &[f64]) {
        let Some((last, outer)) = self.axes.split_last() else {
            dst[0] += x[0] * y[0];
            return;
        };
        // Every operand either runs along the innermost axis without gaps or stands still, because tables are laid out
        // in one global order of variables. Which of them does is asked here, once, not at each run.
        let n = last.n;
        match (roles.map(|role| last.step[role]), n) {
            ([1, 1, 1], 2) => nest(outer, roles, &Pair::<true, true, true>, dst, x, y),
            ([1, 1, 0], 2) => nest(outer, roles, &Pair::<true, true, false>, dst, x, y),
            ([1, 0, 1], 2) => nest(outer, roles, &Pair::<true, false, true>, dst, x, y),
            ([0, 1, 1], 2) => nest(outer, roles, &Pair::<false, true, true>, dst, x, y),
            ([1, 1, 1], _) => nest(outer, roles, &Products(n), dst, x, y),
            ([1, 1, 0], _) => nest(outer, roles, &Scaled(n), dst, x, y),
            ([1, 0, 1], _) => nest(outer, [roles[0], roles[2], roles[1]], &Scaled(n), dst, y, x),
            ([0, 1, 1], _) => nest(outer, roles, &Dot(n), dst, x, y),
            (step, _) => nest(outer, roles, &Strided(n, step), dst, x, y),
        }
    }
}

/// One run along the innermost axis.
trait Run {
    fn run(&self, dst: &mut [f64], x: &[f64], y: &[f64]);
}

/// Two cells; which operands move.
struct Pair<const D: bool, const X: bool, const Y: bool>;

impl<const D: bool, const X: bool, const Y: bool> Run for Pair<D, X, Y> {
    #[inline]
    fn run(&self, dst: &mut [f64], x: &[f64], y: &[f64]) {
        let (x, y) = (&x[..=usize::from(X)], &y[..=usize::from(Y)]);
        let products = [x[0] * y[0], x[usize::from(X)] * y[usize::from(Y)]];
        if D {
            let dst = &mut dst[..2];
            dst[0] += products[0];
            dst[1] += products[1];
        } else {
            dst[0] += products[0] + products[1];
        }
    }
}

/// All three move.
struct Products(usize);

impl Run for Products {
    #[inline]
    fn run(&self, dst: &mut [f64], x: &[f64], y: &[f64]) {
        for ((d, x), y) in dst[..self.0].iter_mut().zip(&x[..self.0]).zip(&y[..self.0]) {
            *d += x * y;
        }
    }
}

/// `y` stands still.
struct Scaled(usize);

impl Run for Scaled {
    #[inline]
    fn run(&self, dst: &mut [f64], x: &[f64], y: &[f64]) {
        let factor = y[0];
        for (d, x) in dst[..self.0].iter_mut().zip(&x[..self.0]) {
            *d += x * factor;
        }
    }
}

/// The result stands still.
struct Dot(usize);

impl Run for Dot {
    #[inline]
    fn run(&self, dst: &mut [f64], x: &[f64], y: &[f64]) {
        dst[0] += dot(&x[..self.0], &y[..self.0]);
    }
}

/// Anything else.
struct Strided(usize, [usize; 3]);

impl Run for Strided {
    #[inline]
    fn run(&self, dst: &mut [f64], x: &[f64], y: &[f64]) {
        let Self(n, [sd, sx, sy]) = *self;
        for i in 0..n {
            dst[i * sd] += x[i * sx] * y[i * sy];
        }
    }
}

/// The outer axes, two at a time so that short axes do not cost a call each.
fn nest<R: Run>(axes: &[Axis], roles: Roles, run: &R, dst: &mut [f64], x: &[f64], y: &[f64]) {
    let steps = |axis: &Axis| roles.map(|role| axis.step[role]);
    match axes {
        [] => run.run(dst, x, y),
        [only] => {
            let [sd, sx, sy] = steps(only);
            for i in 0..only.n {
                run.run(&mut dst[i * sd..], &x[i * sx..], &y[i * sy..]);
            }
        }
        [outer, inner] => {
            let ([sd, sx, sy], [td, tx, ty]) = (steps(outer), steps(inner));
            for i in 0..outer.n {
                let (dst, x, y) = (&mut dst[i * sd..], &x[i * sx..], &y[i * sy..]);
                for j in 0..inner.n {
                    run.run(&mut dst[j * td..], &x[j * tx..], &y[j * ty..]);
                }
            }
        }
        [outer, rest @ ..] => {
            let [sd, sx, sy] = steps(outer);
            for i in 0..outer.n {
                nest(rest, roles, run, &mut dst[i * sd..], &x[i * sx..], &y[i * sy..]);
            }
        }
    }
}

/// Four running sums, so that the additions do not wait for each other; the order is fixed, so are the digits.
fn dot(x: &[f64], y: &[f64]) -> f64 {
    let mut sums = [0.0; 4];
    let (xs, ys) = (x.chunks_exact(4), y.chunks_exact(4));
    let rest: f64 = xs.remainder().iter().zip(ys.remainder()).map(|(x, y)| x * y).sum();
    for (x, y) in xs.zip(ys) {
        for i in 0..4 {
            sums[i] += x[i] * y[i];
        }
    }
    (sums[0] + sums[1]) + (sums[2] + sums[3]) + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_a_matrix_product_and_its_adjoints() {
        // dst[j] = sum_i x[i][j] * y[i], i in 0..2, j in 0..3
        let axes = [(2, [0, 3, 1]), (3, [1, 1, 0])];
        let product = Loop::new(axes);
        let (x, y) = ([1.0, 2.0, 3.0, 4.0, 5.0, 6.0], [10.0, 100.0]);
        let mut dst = [0.0; 3];
        product.add_products(FORWARD, &mut dst, &x, &y);
        assert_eq!(dst, [410.0, 520.0, 630.0]);
        let mut y_adjoint = [0.0; 2];
        product.add_products(ADJOINT_SECOND, &mut y_adjoint, &[1.0, 1.0, 2.0], &x);
        assert_eq!(y_adjoint, [9.0, 21.0]);
    }

    #[test]
    fn merges_axes_that_run_on() {
        let merged = Loop::new([(2, [6, 6, 0]), (3, [2, 2, 0]), (2, [1, 1, 0])]);
        assert_eq!(merged.axes.len(), 1);
        assert_eq!(merged.axes[0].n, 12);
    }
}
