//! Sets of worlds, one bit a world, and how to draw them.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

/// How many words hold `n` bits.
pub(super) fn words(n: usize) -> usize {
    n.div_ceil(64)
}

/// Draws a set of `n` worlds, one bit each, each in it with chance `p`: 64 at a time, comparing the binary digits of `p`
/// with those of a uniform number until all are decided (about eight draws a word).
#[must_use]
pub fn draw(rng: &mut ChaCha8Rng, n: usize, p: f64) -> Vec<u64> {
    let mut set = vec![0u64; words(n)];
    if p >= 1.0 {
        set.fill(u64::MAX);
    } else if p > 0.0 {
        // 2^64 p, exact but for what is below 2^-64.
        let digits = libm::ldexp(p, 64) as u64;
        for word in &mut set {
            *word = draw_word(rng, digits);
        }
    }
    trim(&mut set, n);
    set
}

fn draw_word(rng: &mut ChaCha8Rng, digits: u64) -> u64 {
    let (mut inside, mut undecided) = (0u64, u64::MAX);
    for place in (0..64).rev() {
        let random = rng.next_u64();
        if digits >> place & 1 == 1 {
            inside |= undecided & !random;
            undecided &= random;
        } else {
            undecided &= !random;
        }
        if undecided == 0 {
            break;
        }
    }
    inside
}

/// Clears the bits beyond `n`.
pub(super) fn trim(set: &mut [u64], n: usize) {
    if let (Some(last), rest @ 1..) = (set.last_mut(), n % 64) {
        *last &= (1 << rest) - 1;
    }
}

/// The worlds in a set, ascending.
pub fn members(set: &[u64]) -> impl Iterator<Item = usize> + '_ {
    set.iter().enumerate().flat_map(|(at, &word)| {
        let mut left = word;
        std::iter::from_fn(move || {
            (left != 0).then(|| {
                let bit = left.trailing_zeros() as usize;
                left &= left - 1;
                at * 64 + bit
            })
        })
    })
}

/// Puts `world` in or out.
pub(super) fn put(set: &mut [u64], world: usize, inside: bool) {
    let bit = 1u64 << (world % 64);
    if inside {
        set[world / 64] |= bit;
    } else {
        set[world / 64] &= !bit;
    }
}

/// Uniform in 0..1, 53 bits.
pub(super) fn unit(rng: &mut ChaCha8Rng) -> f64 {
    (rng.next_u64() >> 11) as f64 / 9_007_199_254_740_992.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    #[test]
    fn draws_come_as_often_as_they_should() {
        let mut rng = ChaCha8Rng::seed_from_u64(7);
        let n = 100_001;
        for p in [0.0, 1e-3, 0.25, 0.7, 1.0] {
            let set = draw(&mut rng, n, p);
            let found = f64::from(set.iter().map(|word| word.count_ones()).sum::<u32>());
            let (mean, sd) = (p * n as f64, (p * (1.0 - p) * n as f64).sqrt());
            assert!((found - mean).abs() <= 5.0 * sd, "{p}: {found} of {n}");
        }
    }

    #[test]
    fn members_are_what_was_put() {
        let mut set = vec![0; 2];
        for world in [3, 64, 100] {
            put(&mut set, world, true);
        }
        put(&mut set, 64, false);
        assert_eq!(members(&set).collect::<Vec<_>>(), [3, 100]);
    }
}
