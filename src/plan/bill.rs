//! The parts of several repairs, each bought once.
//!
//! A part says what it fills (`fills`), and it fills it at the place of its repair: the flange gasket of the front
//! carburetor, the filter of the craft. Where other parts of the plan fill all of that too, it is not bought: two
//! repairs behind one flange want one gasket, and a kit that holds the diaphragm makes the single one unnecessary.

use super::choose::Jobs;
use crate::knowledge::layout::Laid;
use crate::knowledge::{Ix, Part, Repair, Scope};
use crate::units::Money;
use std::collections::BTreeMap;

/// One part of one repair at one place.
struct Piece<'k> {
    repair: Ix<Repair>,
    part: &'k Part,
    /// What it fills, each at a cylinder it bears on. Empty: nothing else can stand for it.
    fills: Vec<(&'k str, usize)>,
    bought: bool,
}

impl Piece<'_> {
    fn price(&self) -> Money {
        self.part.each * self.part.count
    }
}

/// What a part fills, at each of these cylinders.
fn spots<'k>(part: &'k Part, cylinders: &[usize]) -> Vec<(&'k str, usize)> {
    part.fills.iter().flat_map(|word| cylinders.iter().map(move |&cylinder| (word.as_str(), cylinder))).collect()
}

/// What is bought for a set of repairs.
pub struct Bill<'k> {
    pieces: Vec<Piece<'k>>,
}

impl<'k> Bill<'k> {
    /// As few parts as fill what all parts of the repairs fill, the cheapest left out first.
    ///
    /// Cost: for each part that fills something, a pass over what it fills.
    pub fn of(laid: &Laid<'k>, jobs: &Jobs) -> Self {
        let mut pieces: Vec<Piece<'k>> = Vec::new();
        for (repair, places) in jobs.iter() {
            let item = &laid.knowledge.repairs[repair];
            let at: Vec<Vec<usize>> = places.iter().map(|p| laid.bearing(Scope::Cylinder, item.scope, *p)).collect();
            for part in &item.parts {
                let lots = if part.one_for_all { vec![at.concat()] } else { at.clone() };
                pieces.extend(lots.iter().map(|cylinders| Piece {
                    repair,
                    part,
                    fills: spots(part, cylinders),
                    bought: true,
                }));
            }
        }
        let mut bill = Self { pieces };
        bill.leave_out_what_others_fill();
        bill
    }

    fn leave_out_what_others_fill(&mut self) {
        let mut filled: BTreeMap<(&str, usize), usize> = BTreeMap::new();
        for spot in self.pieces.iter().flat_map(|piece| &piece.fills) {
            *filled.entry(*spot).or_default() += 1;
        }
        let mut order: Vec<usize> = (0..self.pieces.len()).filter(|at| !self.pieces[*at].fills.is_empty()).collect();
        // Of parts that cost the same, the later one goes.
        order.sort_by(|a, b| self.pieces[*a].price().get().total_cmp(&self.pieces[*b].price().get()).then(b.cmp(a)));
        for at in order {
            let piece = &mut self.pieces[at];
            if piece.fills.iter().all(|spot| filled[spot] > 1) {
                piece.bought = false;
                for spot in &piece.fills {
                    *filled.get_mut(spot).expect("it was counted") -= 1;
                }
            }
        }
    }

    /// What is bought for a repair comes to; a part that serves several counts for one of them.
    pub fn of_repair(&self, repair: Ix<Repair>) -> Money {
        self.pieces.iter().filter(|piece| piece.bought && piece.repair == repair).map(Piece::price).sum()
    }

    /// All that is bought comes to.
    pub fn total(&self) -> Money {
        self.pieces.iter().filter(|piece| piece.bought).map(Piece::price).sum()
    }

    /// What is bought whatever else is repaired.
    pub fn unshared(&self) -> Money {
        self.pieces.iter().filter(|piece| piece.fills.is_empty()).map(Piece::price).sum()
    }

    /// Every part that is bought, repair by repair and place by place, with the repairs it serves.
    pub fn bought(&self) -> impl Iterator<Item = (&'k Part, Vec<Ix<Repair>>)> + '_ {
        self.pieces.iter().filter(|piece| piece.bought).map(|piece| {
            let spared = self.pieces.iter().filter(|other| !other.bought);
            let serves = spared.filter(|other| other.fills.iter().any(|spot| piece.fills.contains(spot)));
            let mut repairs: Vec<Ix<Repair>> = std::iter::once(piece).chain(serves).map(|p| p.repair).collect();
            repairs.sort_unstable();
            repairs.dedup();
            (piece.part, repairs)
        })
    }
}
