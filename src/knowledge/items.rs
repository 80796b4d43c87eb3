//! Items by id and by index: a small arena in file order.

use indexmap::IndexMap;
use std::fmt;
use std::hash::{Hash, Hasher};
use std::marker::PhantomData;

/// The index of a `T` in its [`Items`].
pub struct Ix<T> {
    at: u32,
    of: PhantomData<fn() -> T>,
}

impl<T> Ix<T> {
    /// The index at a position.
    ///
    /// # Panics
    /// Beyond 2^32 items: more than the loader takes.
    #[must_use]
    pub fn new(at: usize) -> Self {
        Self { at: u32::try_from(at).expect("fewer than 2^32 items"), of: PhantomData }
    }

    /// The position.
    #[must_use]
    pub fn at(self) -> usize {
        self.at as usize
    }
}

// Derives would ask the same of T.
impl<T> Clone for Ix<T> {
    fn clone(&self) -> Self {
        *self
    }
}
impl<T> Copy for Ix<T> {}
impl<T> PartialEq for Ix<T> {
    fn eq(&self, other: &Self) -> bool {
        self.at == other.at
    }
}
impl<T> Eq for Ix<T> {}
impl<T> PartialOrd for Ix<T> {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}
impl<T> Ord for Ix<T> {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.at.cmp(&other.at)
    }
}
impl<T> Hash for Ix<T> {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.at.hash(state);
    }
}
impl<T> fmt::Debug for Ix<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "#{}", self.at)
    }
}

/// Items of one kind, in file order, each under its id.
#[derive(Clone, Debug)]
pub struct Items<T>(IndexMap<String, T>);

impl<T> Default for Items<T> {
    fn default() -> Self {
        Self(IndexMap::new())
    }
}

impl<T> Items<T> {
    /// Adds an item; the first under an id stays. Returns its index.
    pub fn add(&mut self, id: String, item: T) -> Ix<T> {
        let (at, _) = match self.0.get_index_of(&id) {
            Some(at) => (at, None),
            None => self.0.insert_full(id, item),
        };
        Ix::new(at)
    }

    /// The index of an id.
    #[must_use]
    pub fn find(&self, id: &str) -> Option<Ix<T>> {
        self.0.get_index_of(id).map(Ix::new)
    }

    /// The id at an index.
    ///
    /// # Panics
    /// Where the index is of another arena: our bug.
    #[must_use]
    pub fn id(&self, ix: Ix<T>) -> &str {
        self.0.get_index(ix.at()).expect("an index of this arena").0
    }

    /// Each item, to be changed in its place.
    pub fn iter_mut(&mut self) -> impl Iterator<Item = (Ix<T>, &mut T)> {
        self.0.values_mut().enumerate().map(|(at, item)| (Ix::new(at), item))
    }

    /// The item at an index, to change its numbers.
    ///
    /// # Panics
    /// Where the index is of another arena: our bug.
    #[must_use]
    pub fn get_mut(&mut self, ix: Ix<T>) -> &mut T {
        self.0.get_index_mut(ix.at()).expect("an index of this arena").1
    }

    /// How many.
    #[must_use]
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// All, in file order.
    #[must_use]
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = (Ix<T>, &T)> + ExactSizeIterator {
        self.0.values().enumerate().map(|(at, item)| (Ix::new(at), item))
    }

    /// All ids, in file order.
    pub fn ids(&self) -> impl Iterator<Item = &str> {
        self.0.keys().map(String::as_str)
    }
}

impl<T> std::ops::Index<Ix<T>> for Items<T> {
    type Output = T;
    fn index(&self, ix: Ix<T>) -> &T {
        &self.0[ix.at()]
    }
}
