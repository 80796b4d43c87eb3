//! Draws, each from a stream of its own, so that what one thing drew never depends on which others were looked at.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::f64::consts::PI;

/// A source of draws.
pub struct Draw(ChaCha8Rng);

impl Draw {
    /// The draws of one thing: `stream` tells things apart, `seed` jobs.
    #[must_use]
    pub fn new(seed: u64, stream: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(stream);
        Self(rng)
    }

    /// In 0..1.
    #[expect(clippy::cast_precision_loss, reason = "53 bits are what a double holds")]
    pub fn unit(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Whether something of this chance comes about.
    pub fn happens(&mut self, chance: f64) -> bool {
        self.unit() < chance
    }

    /// A whole number below `n`, which is above 0.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "an index"
    )]
    pub fn below(&mut self, n: usize) -> usize {
        ((self.unit() * n as f64) as usize).min(n - 1)
    }

    /// A place in proportion to its weight; the last with any weight where rounding leaves none.
    pub fn pick(&mut self, weights: &[f64]) -> usize {
        let mut left = self.unit() * weights.iter().sum::<f64>();
        let last = weights.iter().rposition(|w| *w > 0.0).unwrap_or(0);
        let met = weights[..last].iter().position(|weight| {
            left -= weight;
            left < 0.0
        });
        met.unwrap_or(last)
    }

    /// A standard normal, by Box and Muller (1958).
    pub fn normal(&mut self) -> f64 {
        let (u, v) = (1.0 - self.unit(), self.unit());
        libm::sqrt(-2.0 * libm::log(u)) * libm::cos(2.0 * PI * v)
    }

    /// A chance moved in log-odds by a normal of this spread; 0 and 1 stay.
    pub fn perturbed(&mut self, chance: f64, sigma: f64) -> f64 {
        let z = self.normal();
        if sigma <= 0.0 || chance <= 0.0 || chance >= 1.0 {
            return chance;
        }
        let odds = chance / (1.0 - chance) * libm::exp(sigma * z);
        odds / (1.0 + odds)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normals_have_mean_0_and_spread_1() {
        let mut draw = Draw::new(1, 2);
        let drawn: Vec<f64> = (0..20_000).map(|_| draw.normal()).collect();
        let mean = drawn.iter().sum::<f64>() / 20_000.0;
        let square = drawn.iter().map(|x| x * x).sum::<f64>() / 20_000.0;
        assert!(mean.abs() < 0.03 && (square - 1.0).abs() < 0.05, "{mean} {square}");
    }

    #[test]
    fn picks_come_in_proportion() {
        let mut draw = Draw::new(3, 4);
        let mut counts = [0; 3];
        (0..9_000).for_each(|_| counts[draw.pick(&[1.0, 0.0, 2.0])] += 1);
        assert!(counts[1] == 0 && (2_800..3_200).contains(&counts[0]), "{counts:?}");
    }
}
