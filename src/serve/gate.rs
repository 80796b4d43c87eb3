//! A gate in front of the thinking: as many rooms think at once as there are processors, in the order in which they came.
//! More would each take longer, and hold up those who only want a page.

use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};

/// A gate with so many places.
pub struct Gate {
    places: u64,
    /// How many came, and how many left.
    count: Mutex<(u64, u64)>,
    left: Condvar,
}

impl Gate {
    /// A gate with so many places; at least one.
    #[must_use]
    pub fn new(places: usize) -> Self {
        Self { places: places.max(1) as u64, count: Mutex::default(), left: Condvar::new() }
    }

    /// Waits for a place, does the work and leaves.
    pub fn pass<T>(&self, work: impl FnOnce() -> T) -> T {
        let mut count = self.lock();
        let mine = count.0;
        count.0 += 1;
        while mine >= count.1 + self.places {
            count = self.left.wait(count).unwrap_or_else(PoisonError::into_inner);
        }
        drop(count);
        let _place = Place(self);
        work()
    }

    /// Two numbers are sound whoever fell over while holding them.
    fn lock(&self) -> MutexGuard<'_, (u64, u64)> {
        self.count.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A place that is left however the work ends.
struct Place<'a>(&'a Gate);

impl Drop for Place<'_> {
    fn drop(&mut self) {
        self.0.lock().1 += 1;
        self.0.left.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering};
    use std::thread;
    use std::time::Duration;

    #[test]
    fn no_more_pass_at_once_than_there_are_places_and_all_do_in_the_end() {
        let (gate, inside, most) = (Gate::new(2), AtomicUsize::new(0), AtomicUsize::new(0));
        thread::scope(|scope| {
            for _ in 0..12 {
                scope.spawn(|| {
                    gate.pass(|| {
                        most.fetch_max(inside.fetch_add(1, Ordering::SeqCst) + 1, Ordering::SeqCst);
                        thread::sleep(Duration::from_millis(2));
                        inside.fetch_sub(1, Ordering::SeqCst);
                    });
                });
            }
        });
        assert_eq!((inside.into_inner(), most.into_inner()), (0, 2));
        assert_eq!(*gate.lock(), (12, 12));
    }

    #[test]
    fn whoever_falls_over_leaves_their_place() {
        let gate = Gate::new(1);
        thread::scope(|scope| {
            let fell = scope.spawn(|| gate.pass(|| panic!("on purpose"))).join();
            assert!(fell.is_err());
        });
        assert_eq!(gate.pass(|| 7), 7);
    }
}
