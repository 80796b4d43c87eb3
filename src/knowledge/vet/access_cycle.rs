//! Access does not need itself, by however long a way.

use super::super::{Ix, codes};
use super::{Whole, circle};

/// Reports circles.
pub(super) fn check(whole: &mut Whole) {
    let access = &whole.knowledge.access;
    let needs: Vec<Vec<usize>> = access.iter().map(|(_, a)| a.needs.iter().map(|n| n.at()).collect()).collect();
    for found in circle::circles(&needs) {
        let id = |at: usize| access.id(Ix::new(at));
        let message = format!("access needs itself: {}", circle::shown(&found, id));
        whole.error(codes::ACCESS_CYCLE, id(found[0]), message, Vec::new());
    }
}
