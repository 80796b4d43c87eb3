//! Sets of worlds, one bit a world, and how to draw them.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

/// How many words hold `n` bits.
pub(super) fn words(n: usize) -> usize {
    n.div_ceil(64)
}

/// Draws a set of `n` worlds, one bit each, each in it with chance `p`.
///
/// How many are in it of each word is settled first, so that the set holds `n p` worlds, rounded up or down: what a chance
/// is estimated by scatters far less than if every world were drawn for itself.
#[must_use]
pub fn draw(rng: &mut ChaCha8Rng, n: usize, p: f64) -> Vec<u64> {
    let mut set = vec![0u64; words(n)];
    if p >= 1.0 {
        set.fill(u64::MAX);
        trim(&mut set, n);
    } else if p > 0.0 {
        let mut shares = Shares::new(rng, n, p);
        for word in &mut set {
            *word = shares.word(rng);
        }
    }
    set
}

/// How many worlds of each word are in a set, word by word: at any place as many as their chance says, rounded up or down.
pub(super) struct Shares {
    n: usize,
    p: f64,
    from: usize,
    /// Where the rounding begins: uniform, so that every world is in the set with its chance.
    start: f64,
    /// How many worlds before `from` are in it.
    before: f64,
}

impl Shares {
    pub(super) fn new(rng: &mut ChaCha8Rng, n: usize, p: f64) -> Self {
        Self { n, p, from: 0, start: unit(rng), before: 0.0 }
    }

    /// The next word of the set.
    pub(super) fn word(&mut self, rng: &mut ChaCha8Rng) -> u64 {
        let size = (self.n - self.from).min(64);
        self.from += size;
        let until = libm::floor(self.p * self.from as f64 + self.start);
        let few = (until - self.before) as usize;
        self.before = until;
        some_of(rng, size, few)
    }
}

/// A set of `few` of `size` worlds, at most 64; every such set is as likely.
fn some_of(rng: &mut ChaCha8Rng, size: usize, few: usize) -> u64 {
    const PLACES: u32 = 5;
    let all = u64::MAX >> (64 - size);
    let (mut left, inverted) = if 2 * few > size { (size.saturating_sub(few), true) } else { (few, false) };
    let mut set = 0u64;
    while left > 0 {
        let mut random = rng.next_u32();
        for _ in 0..PLACES {
            let bit = 1u64 << (random & 63);
            random >>= 6;
            // A place beyond the last, or taken already, is drawn again.
            if bit & all & !set != 0 {
                set |= bit;
                left -= 1;
                if left == 0 {
                    break;
                }
            }
        }
    }
    if inverted { all & !set } else { set }
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

/// Uniform below `n`.
pub(super) fn below(rng: &mut ChaCha8Rng, n: usize) -> usize {
    ((u64::from(rng.next_u32()) * n as u64) >> 32) as usize
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

    /// In each of many sets a world is as often as its chance says, every set holds as many as it should, and two worlds
    /// are in together no more often than two draws without replacement would have it.
    #[test]
    fn a_set_holds_its_share_wherever_it_is_looked_at() {
        let mut rng = ChaCha8Rng::seed_from_u64(19);
        let (n, rounds) = (150, 20_000);
        for p in [0.004, 0.3, 0.9] {
            let (mut of, mut both) = (vec![0u32; n], 0u32);
            for _ in 0..rounds {
                let set = draw(&mut rng, n, p);
                let all: u32 = set.iter().map(|word| word.count_ones()).sum();
                assert!((f64::from(all) - p * n as f64).abs() < 1.0, "{all} of {n} at {p}");
                members(&set).for_each(|world| of[world] += 1);
                both += u32::from(set[0] & 3 == 3);
            }
            for (world, &found) in of.iter().enumerate() {
                let (mean, sd) = (p * f64::from(rounds), (p * (1.0 - p) * f64::from(rounds)).sqrt());
                assert!((f64::from(found) - mean).abs() <= 5.0 * sd, "{p}: world {world} {found} times");
            }
            let mean = p * p * f64::from(rounds);
            assert!(f64::from(both) <= mean + 5.0 * mean.sqrt() + 1.0, "{p}: both {both} times");
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
