//! The one loop everything runs through: `dst += x * y` over a box of indices, each operand with its own strides.
//!
//! Products, sums of products and their adjoints are all this loop with the operands in other roles. A cell is a
//! number, or [`LANES`] of them side by side where that many questions are asked in one pass.

use std::ops::{AddAssign, Mul};

/// How many questions one pass over lanes answers.
pub(super) const LANES: usize = 8;

/// One number for each question.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Lanes(pub(super) [f64; LANES]);

impl Lanes {
    /// The same number for every question.
    pub(super) fn all(x: f64) -> Self {
        Self([x; LANES])
    }
}

impl Default for Lanes {
    fn default() -> Self {
        Self::all(0.0)
    }
}

impl AddAssign for Lanes {
    #[inline]
    fn add_assign(&mut self, other: Self) {
        for i in 0..LANES {
            self.0[i] += other.0[i];
        }
    }
}

impl Mul<f64> for Lanes {
    type Output = Self;
    #[inline]
    fn mul(mut self, factor: f64) -> Self {
        for x in &mut self.0 {
            *x *= factor;
        }
        self
    }
}

impl Mul<Lanes> for f64 {
    type Output = Lanes;
    #[inline]
    fn mul(self, lanes: Lanes) -> Lanes {
        lanes * self
    }
}

impl Mul for Lanes {
    type Output = Self;
    #[inline]
    fn mul(mut self, other: Self) -> Self {
        for i in 0..LANES {
            self.0[i] *= other.0[i];
        }
        self
    }
}

/// A cell that products are added to.
pub(super) trait Sum: Copy + Default + AddAssign {}
impl<T: Copy + Default + AddAssign> Sum for T {}

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
    pub(super) fn add_products<D, X, Y>(&self, roles: Roles, dst: &mut [D], x: &[X], y: &[Y])
    where
        D: Sum,
        X: Copy + Mul<Y, Output = D>,
        Y: Copy,
    {
        let Some((last, outer)) = self.axes.split_last() else {
            dst[0] += x[0] * y[0];
            return;
        };
        // Every operand either runs along the innermost axis without gaps or stands still, because tables are laid out
        // in one global order of variables. Which of them does is asked here, once, not at each run.
        let n = last.n;
        match (roles.map(|role| last.step[role]), n) {
            ([1, 1, 1], 2) => nest(outer, roles, &Few::<2, true, true, true>, dst, x, y),
            ([1, 1, 0], 2) => nest(outer, roles, &Few::<2, true, true, false>, dst, x, y),
            ([1, 0, 1], 2) => nest(outer, roles, &Few::<2, true, false, true>, dst, x, y),
            ([0, 1, 1], 2) => nest(outer, roles, &Few::<2, false, true, true>, dst, x, y),
            ([1, 1, 1], 4) => nest(outer, roles, &Few::<4, true, true, true>, dst, x, y),
            ([1, 1, 0], 4) => nest(outer, roles, &Few::<4, true, true, false>, dst, x, y),
            ([1, 0, 1], 4) => nest(outer, roles, &Few::<4, true, false, true>, dst, x, y),
            ([0, 1, 1], 4) => nest(outer, roles, &Few::<4, false, true, true>, dst, x, y),
            ([1, 1, 1], 8) => nest(outer, roles, &Few::<8, true, true, true>, dst, x, y),
            ([1, 1, 0], 8) => nest(outer, roles, &Few::<8, true, true, false>, dst, x, y),
            ([1, 0, 1], 8) => nest(outer, roles, &Few::<8, true, false, true>, dst, x, y),
            ([0, 1, 1], 8) => nest(outer, roles, &Few::<8, false, true, true>, dst, x, y),
            ([1, 1, 1], _) => nest(outer, roles, &Products(n), dst, x, y),
            ([1, 1, 0], _) => nest(outer, roles, &BySecond(n), dst, x, y),
            ([1, 0, 1], _) => nest(outer, roles, &ByFirst(n), dst, x, y),
            ([0, 1, 1], _) => nest(outer, roles, &Dot(n), dst, x, y),
            (step, _) => nest(outer, roles, &Strided(n, step), dst, x, y),
        }
    }

    /// How many products it adds.
    pub(super) fn len(&self) -> usize {
        self.axes.iter().map(|axis| axis.n).product()
    }
}

/// Which operand is written and which two are read, as positions 0, 1, 2 of the loop's operands.
pub(super) type Roles = [usize; 3];

/// The forward product.
pub(super) const FORWARD: Roles = [0, 1, 2];
/// The adjoint of the first factor.
pub(super) const ADJOINT_FIRST: Roles = [1, 0, 2];
/// The adjoint of the second factor.
pub(super) const ADJOINT_SECOND: Roles = [2, 0, 1];

/// One run along the innermost axis.
trait Run<D, X, Y> {
    fn run(&self, dst: &mut [D], x: &[X], y: &[Y]);
}

/// A number of cells known beforehand; which operands move.
struct Few<const N: usize, const D: bool, const X: bool, const Y: bool>;

impl<const N: usize, const MD: bool, const MX: bool, const MY: bool, D, X, Y> Run<D, X, Y> for Few<N, MD, MX, MY>
where
    D: Sum,
    X: Copy + Mul<Y, Output = D>,
    Y: Copy,
{
    #[inline]
    fn run(&self, dst: &mut [D], x: &[X], y: &[Y]) {
        let (x, y) = (&x[..if MX { N } else { 1 }], &y[..if MY { N } else { 1 }]);
        let product = |i: usize| x[if MX { i } else { 0 }] * y[if MY { i } else { 0 }];
        if MD {
            let dst = &mut dst[..N];
            for (i, cell) in dst.iter_mut().enumerate() {
                *cell += product(i);
            }
            return;
        }
        // Two and two, as a longer sum is.
        let mut sums: [D; N] = std::array::from_fn(product);
        let mut n = N;
        if N == 8 {
            for i in 0..4 {
                let second = sums[i + 4];
                sums[i] += second;
            }
            n = 4;
        }
        while n > 1 {
            for i in 0..n / 2 {
                let (mut sum, second) = (sums[2 * i], sums[2 * i + 1]);
                sum += second;
                sums[i] = sum;
            }
            n /= 2;
        }
        dst[0] += sums[0];
    }
}

/// All three move.
struct Products(usize);

impl<D: Sum, X: Copy + Mul<Y, Output = D>, Y: Copy> Run<D, X, Y> for Products {
    #[inline]
    fn run(&self, dst: &mut [D], x: &[X], y: &[Y]) {
        for ((d, x), y) in dst[..self.0].iter_mut().zip(&x[..self.0]).zip(&y[..self.0]) {
            *d += *x * *y;
        }
    }
}

/// `y` stands still.
struct BySecond(usize);

impl<D: Sum, X: Copy + Mul<Y, Output = D>, Y: Copy> Run<D, X, Y> for BySecond {
    #[inline]
    fn run(&self, dst: &mut [D], x: &[X], y: &[Y]) {
        let factor = y[0];
        for (d, x) in dst[..self.0].iter_mut().zip(&x[..self.0]) {
            *d += *x * factor;
        }
    }
}

/// `x` stands still.
struct ByFirst(usize);

impl<D: Sum, X: Copy + Mul<Y, Output = D>, Y: Copy> Run<D, X, Y> for ByFirst {
    #[inline]
    fn run(&self, dst: &mut [D], x: &[X], y: &[Y]) {
        let factor = x[0];
        for (d, y) in dst[..self.0].iter_mut().zip(&y[..self.0]) {
            *d += factor * *y;
        }
    }
}

/// The result stands still.
struct Dot(usize);

impl<D: Sum, X: Copy + Mul<Y, Output = D>, Y: Copy> Run<D, X, Y> for Dot {
    #[inline]
    fn run(&self, dst: &mut [D], x: &[X], y: &[Y]) {
        dst[0] += dot(&x[..self.0], &y[..self.0]);
    }
}

/// Anything else.
struct Strided(usize, [usize; 3]);

impl<D: Sum, X: Copy + Mul<Y, Output = D>, Y: Copy> Run<D, X, Y> for Strided {
    #[inline]
    fn run(&self, dst: &mut [D], x: &[X], y: &[Y]) {
        let Self(n, [sd, sx, sy]) = *self;
        for i in 0..n {
            dst[i * sd] += x[i * sx] * y[i * sy];
        }
    }
}

/// The outer axes, two at a time so that short axes do not cost a call each.
fn nest<D, X, Y, R: Run<D, X, Y>>(axes: &[Axis], roles: Roles, run: &R, dst: &mut [D], x: &[X], y: &[Y]) {
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
fn dot<D: Sum, X: Copy + Mul<Y, Output = D>, Y: Copy>(x: &[X], y: &[Y]) -> D {
    let mut sums = [D::default(); 4];
    let (xs, ys) = (x.chunks_exact(4), y.chunks_exact(4));
    let mut rest = D::default();
    xs.remainder().iter().zip(ys.remainder()).for_each(|(&x, &y)| rest += x * y);
    for (x, y) in xs.zip(ys) {
        for i in 0..4 {
            sums[i] += x[i] * y[i];
        }
    }
    let [mut left, b, mut right, d] = sums;
    left += b;
    right += d;
    left += right;
    left += rest;
    left
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
