//! Bench arithmetic, one formula a function, its source beside it. Numbers in, numbers out, the unit in the name.
//!
//! Nothing here knows a craft: what is a common-practice figure and no physics says so where it stands.

pub mod air;
pub mod compression;
pub mod electrics;
pub mod fuel;
pub mod inlet;
pub mod leak;
pub mod mixture;

pub use air::pressure_ratio;

/// A value on a table of points in rising order, straight between them; `None` beyond its ends.
fn between(table: &[(f64, f64)], x: f64) -> Option<f64> {
    table.windows(2).find_map(|pair| {
        let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
        (x0..=x1).contains(&x).then(|| y0 + (y1 - y0) * (x - x0) / (x1 - x0))
    })
}
