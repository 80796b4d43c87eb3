//! One craft laid out: which cylinder, carburetor and pump there is, which bears on which, what is fitted.

use super::{CraftOption, Fitted, Items, Ix, Knowledge, Layout, Scope};

/// Which craft: a layout, and what is fitted.
#[derive(Clone, Debug, PartialEq)]
pub struct Craft {
    /// The layout.
    pub layout: Ix<Layout>,
    /// For each option of the knowledge base, whether it is fitted.
    pub options: Vec<bool>,
}

impl Craft {
    /// The usual craft: the usual layout (else the first), the usual options.
    #[must_use]
    pub fn usual(knowledge: &Knowledge) -> Self {
        let layout = knowledge.layouts.iter().find(|(_, l)| l.usual).map_or(Ix::new(0), |(ix, _)| ix);
        Self { layout, options: knowledge.options.iter().map(|(_, o)| o.usual).collect() }
    }

    /// Whether an option is fitted.
    #[must_use]
    pub fn has(&self, option: Ix<CraftOption>) -> bool {
        self.options.get(option.at()).copied().unwrap_or(false)
    }
}

/// One instance of an item: the item and the position of its place, 0 for an item of the whole craft.
#[derive(Debug)]
pub struct Instance<T> {
    /// The item.
    pub item: Ix<T>,
    /// The position among the places of the item's scope.
    pub at: usize,
}

impl<T> Instance<T> {
    /// The instance of `item` at a place.
    #[must_use]
    pub fn new(item: Ix<T>, at: usize) -> Self {
        Self { item, at }
    }
}
// Derives would ask the same of T.
impl<T> Clone for Instance<T> {
    fn clone(&self) -> Self {
        *self
    }
}
impl<T> Copy for Instance<T> {}
impl<T> PartialEq for Instance<T> {
    fn eq(&self, other: &Self) -> bool {
        self.item == other.item && self.at == other.at
    }
}
impl<T> Eq for Instance<T> {}
impl<T> PartialOrd for Instance<T> {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}
impl<T> Ord for Instance<T> {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.item.cmp(&other.item).then(self.at.cmp(&other.at))
    }
}
impl<T> std::hash::Hash for Instance<T> {
    fn hash<H: std::hash::Hasher>(&self, state: &mut H) {
        self.item.hash(state);
        self.at.hash(state);
    }
}

/// A craft laid out.
#[derive(Clone, Debug)]
pub struct Laid<'k> {
    /// The knowledge base.
    pub knowledge: &'k Knowledge,
    /// The craft.
    pub craft: Craft,
}

impl<'k> Laid<'k> {
    /// Lays out a craft.
    #[must_use]
    pub fn new(knowledge: &'k Knowledge, craft: Craft) -> Self {
        Self { knowledge, craft }
    }

    /// The layout.
    #[must_use]
    pub fn layout(&self) -> &'k Layout {
        &self.knowledge.layouts[self.craft.layout]
    }

    /// Whether an item belongs to this craft.
    #[must_use]
    pub fn fits(&self, fitted: &Fitted) -> bool {
        fitted.cylinders.is_none_or(|n| n == self.layout().cylinders.len())
            && fitted.options.iter().all(|&(option, wanted)| self.craft.has(option) == wanted)
            && (fitted.layouts.is_empty() || fitted.layouts.contains(&self.craft.layout))
    }

    /// How many places a scope has.
    #[must_use]
    pub fn places(&self, scope: Scope) -> usize {
        places_of(self.layout(), scope)
    }

    /// How many places a scope has on the usual layout.
    #[must_use]
    pub fn usual_places(&self, scope: Scope) -> usize {
        places_of(&self.knowledge.layouts[Craft::usual(self.knowledge).layout], scope)
    }

    /// The name of a place; `None` where there is only one, so that nothing need be said.
    #[must_use]
    pub fn place_name(&self, scope: Scope, at: usize) -> Option<&'k str> {
        (self.places(scope) > 1).then(|| self.any_place_name(scope, at)).flatten()
    }

    fn any_place_name(&self, scope: Scope, at: usize) -> Option<&'k str> {
        let layout = self.layout();
        match scope {
            Scope::Craft => None,
            Scope::Cylinder => layout.cylinders.get(at).map(String::as_str),
            Scope::Carburetor => layout.carburetors.get(at).map(|(name, _)| name.as_str()),
            Scope::Pump => layout.pumps.get(at).map(|(name, _)| name.as_str()),
        }
    }

    /// The position of a place by its name, also where it is the only one.
    #[must_use]
    pub fn place(&self, scope: Scope, name: &str) -> Option<usize> {
        (0..self.places(scope)).find(|&at| self.any_place_name(scope, at) == Some(name))
    }

    /// The names of a scope's places.
    #[must_use]
    pub fn place_names(&self, scope: Scope) -> Vec<&'k str> {
        (0..self.places(scope)).filter_map(|at| self.any_place_name(scope, at)).collect()
    }

    /// `inlet-screen-clogged@rear`; the id alone where there is only one place.
    #[must_use]
    pub fn label(&self, id: &str, scope: Scope, at: usize) -> String {
        self.place_name(scope, at).map_or_else(|| id.to_owned(), |name| format!("{id}@{name}"))
    }

    /// "Clogged fuel inlet screen, rear"; the words alone where there is only one place.
    #[must_use]
    pub fn words(&self, title: &str, scope: Scope, at: usize) -> String {
        self.place_name(scope, at).map_or_else(|| title.to_owned(), |name| format!("{title}, {name}"))
    }

    /// The places of `from` that bear on `to` at `at`: those that share a cylinder with it.
    #[must_use]
    pub fn bearing(&self, from: Scope, to: Scope, at: usize) -> Vec<usize> {
        if from == to {
            return vec![at];
        }
        let here = self.cylinders_of(to, at);
        (0..self.places(from)).filter(|&p| self.cylinders_of(from, p).iter().any(|c| here.contains(c))).collect()
    }

    /// The cylinders a place serves.
    fn cylinders_of(&self, scope: Scope, at: usize) -> Vec<usize> {
        let layout = self.layout();
        match scope {
            Scope::Craft => (0..layout.cylinders.len()).collect(),
            Scope::Cylinder => vec![at],
            Scope::Carburetor => layout.carburetors[at].1.clone(),
            Scope::Pump => layout.pumps[at].1.iter().flat_map(|&c| layout.carburetors[c].1.clone()).collect(),
        }
    }

    /// Every instance of an item, in order of place.
    pub fn instances<T>(&self, item: Ix<T>, scope: Scope) -> impl Iterator<Item = Instance<T>> + use<T> {
        (0..self.places(scope)).map(move |at| Instance::new(item, at))
    }

    /// Splits `id@place` and finds the item; the places are all of them where none is named.
    #[must_use]
    pub fn parse<T>(
        &self,
        items: &Items<T>,
        scope_of: impl Fn(&T) -> Scope,
        label: &str,
    ) -> Option<(Ix<T>, Vec<usize>)> {
        let (id, place) = label.split_once('@').map_or((label, None), |(id, place)| (id, Some(place)));
        let ix = items.find(id)?;
        let scope = scope_of(&items[ix]);
        match place {
            None => Some((ix, (0..self.places(scope)).collect())),
            Some(name) => self.place(scope, name).map(|at| (ix, vec![at])),
        }
    }
}

/// How many places a scope has on a layout.
fn places_of(layout: &Layout, scope: Scope) -> usize {
    match scope {
        Scope::Craft => 1,
        Scope::Cylinder => layout.cylinders.len(),
        Scope::Carburetor => layout.carburetors.len(),
        Scope::Pump => layout.pumps.len(),
    }
}
