//! Draws the nodes of a settled chain graph from their joint distribution: last bucket first, column by column.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::eliminate::stride;
use super::solve::Settled;

/// Draws `n` states of every node, one column a node.
pub(super) fn nodes(settled: &Settled<'_>, n: usize, rng: &mut ChaCha8Rng) -> Vec<Vec<u8>> {
    let cards = settled.graph.cards();
    let program = &settled.work.program;
    let mut columns: Vec<Vec<u8>> = vec![vec![0; n]; cards.len()];
    let mut at = vec![0u32; n];
    let mut random = vec![0u8; 4 * n];
    for bucket in program.buckets().iter().rev().filter(|bucket| cards[bucket.variable] > 1) {
        let (given, weights) = program.conditional(&cards, bucket, &settled.upward);
        at.fill(0);
        for &node in &given {
            let step = stride(&cards, &given, node) as u32;
            at.iter_mut().zip(&columns[node]).for_each(|(at, &state)| *at += step * u32::from(state));
        }
        let limits = thresholds(&weights, cards[bucket.variable]);
        rng.fill_bytes(&mut random);
        draw_column(&limits, weights.len() / cards[bucket.variable], &at, &random, &mut columns[bucket.variable]);
    }
    columns
}

/// Strictly between 0 and 1, from four random bytes.
pub(super) fn uniform(bytes: &[u8]) -> f64 {
    let number = u32::from_le_bytes([bytes[0], bytes[1], bytes[2], bytes[3]]);
    (f64::from(number) + 0.5) / 4_294_967_296.0
}

/// The state of each world: how many of its configuration's limits its random number has reached.
fn draw_column(limits: &[f64], configurations: usize, at: &[u32], random: &[u8], column: &mut [u8]) {
    column.fill(0);
    for row in limits.chunks_exact(configurations) {
        for ((state, &at), bytes) in column.iter_mut().zip(at).zip(random.chunks_exact(4)) {
            *state += u8::from(uniform(bytes) >= row[at as usize]);
        }
    }
}

/// For each state but the last, and each configuration, the chance of that state or an earlier one.
fn thresholds(weights: &[f64], states: usize) -> Vec<f64> {
    let configurations = weights.len() / states;
    let mut totals = vec![0.0; configurations];
    let mut limits = Vec::with_capacity(weights.len() - configurations);
    for state in weights.chunks_exact(configurations) {
        totals.iter_mut().zip(state).for_each(|(total, w)| *total += w);
        limits.extend_from_slice(&totals);
    }
    limits.truncate(weights.len() - configurations);
    for row in limits.chunks_exact_mut(configurations) {
        for (limit, &total) in row.iter_mut().zip(&totals) {
            // A configuration of weight zero is never met.
            *limit = if total > 0.0 { *limit / total } else { 1.0 };
        }
    }
    limits
}
