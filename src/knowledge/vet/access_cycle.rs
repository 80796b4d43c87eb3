//! Access does not need itself, by however long a way, nor does it need what one of its steps must find shut.

use super::super::{Ix, codes};
use super::{Whole, circle};

/// Reports circles.
pub(super) fn check(whole: &mut Whole) {
    let access = &whole.knowledge.access;
    let mut needs: Vec<Vec<usize>> = access.iter().map(|(_, a)| a.needs.iter().map(|n| n.at()).collect()).collect();
    // What must be shut for a step of another comes after that other.
    for (ix, item) in access.iter() {
        item.found_shut().for_each(|shut| needs[shut.at()].push(ix.at()));
    }
    for found in circle::circles(&needs) {
        let id = |at: usize| access.id(Ix::new(at));
        let message = format!("access needs itself: {}", circle::shown(&found, id));
        whole.error(codes::ACCESS_CYCLE, id(found[0]), message, Vec::new());
    }
}
