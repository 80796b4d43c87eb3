//! The network as inference sees it: variables, how each depends on others, and what has been observed.
//!
//! A network may span several *slices* of time: the craft before the first repair, after it, after the second, and so
//! on. An on/off variable has one state for each set of slices in which it can be on, so a fault that a repair took
//! away is "on in slice 0 only". What is random about a gate (which links get through, whether its leak is active) is
//! drawn once and holds in every slice: doing nothing changes nothing.

/// The most slices a network may span; a gate's hidden variable has two to that power states.
pub const SLICES_MAX: usize = 4;

/// Index of a variable in [`Network::variables`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct VarIx(pub u32);

impl VarIx {
    /// The index as a position in a slice.
    #[must_use]
    pub fn at(self) -> usize {
        self.0 as usize
    }
}

/// A set of slices, one bit each, bit 0 the earliest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct SliceSet(pub u8);

impl SliceSet {
    /// No slice.
    pub const NONE: Self = Self(0);

    /// Every slice of a network of `n` slices.
    #[must_use]
    pub fn all(n: usize) -> Self {
        debug_assert!((1..=SLICES_MAX).contains(&n), "a network spans 1..={SLICES_MAX} slices");
        Self::first(n)
    }

    /// Slices `0..n`: on until the repair that opens slice `n`.
    #[must_use]
    pub fn first(n: usize) -> Self {
        (0..n).fold(Self::NONE, |set, slice| Self(set.0 | 1 << slice))
    }

    /// Whether `slice` is in the set.
    #[must_use]
    pub fn has(self, slice: usize) -> bool {
        self.0 >> slice & 1 == 1
    }
}

/// What the states of a variable mean.
#[derive(Clone, Debug, PartialEq)]
pub enum States {
    /// Unnamed states `0..n` of a variable that does not change between slices (general tables).
    Plain(usize),
    /// An on/off variable: for each state the slices in which it is on, strictly ascending. State 0 is "never on".
    OnIn(Vec<SliceSet>),
}

impl States {
    /// Off or on, the same in every slice.
    #[must_use]
    pub fn steady(slices: usize) -> Self {
        Self::OnIn(vec![SliceSet::NONE, SliceSet::all(slices)])
    }

    /// How many states there are.
    #[must_use]
    pub fn count(&self) -> usize {
        match self {
            Self::Plain(n) => *n,
            Self::OnIn(sets) => sets.len(),
        }
    }
}

/// One input of a gate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Link {
    /// The on/off variable that feeds the gate.
    pub from: VarIx,
    /// The chance that it gets through when it is on, 0..=1.
    pub strength: f64,
}

/// How a variable comes about given its parents, all of which stand before it in the network.
#[derive(Clone, Debug, PartialEq)]
pub enum Mechanism {
    /// `rows[configuration * states + state]`, configurations in C order (the last parent varies fastest); each row
    /// sums to one.
    Table {
        /// The parents, of any kind.
        parents: Vec<VarIx>,
        /// The conditional probabilities.
        rows: Vec<f64>,
    },
    /// Noisy OR: on where the leak is active or any input that is on gets through.
    Any {
        /// The inputs.
        links: Vec<Link>,
        /// The chance that the leak is active, 0..=1.
        leak: f64,
    },
    /// Noisy AND: on where the leak is active or every input is on and gets through.
    All {
        /// The inputs.
        links: Vec<Link>,
        /// The chance that the leak is active, 0..=1.
        leak: f64,
    },
    /// Noisy k-of-n: on where the leak is active or at least `k` inputs that are on get through.
    AtLeast {
        /// How many must get through.
        k: usize,
        /// The inputs.
        links: Vec<Link>,
        /// The chance that the leak is active, 0..=1.
        leak: f64,
    },
    /// Without chance: on, slice by slice, where the number of `of` that are on lies in `least..=most`.
    Count {
        /// The on/off variables counted.
        of: Vec<VarIx>,
        /// The smallest count that turns it on.
        least: usize,
        /// The largest count that turns it on.
        most: usize,
    },
}

/// A variable and its mechanism.
#[derive(Clone, Debug, PartialEq)]
pub struct Variable {
    /// A name for people: `inlet-screen-clogged@rear`.
    pub name: String,
    /// What its states mean.
    pub states: States,
    /// How it comes about.
    pub mechanism: Mechanism,
}

/// A directed acyclic network; every parent stands before its children.
#[derive(Clone, Debug, PartialEq)]
pub struct Network {
    /// How many slices of time it spans, `1..=SLICES_MAX`.
    pub slices: usize,
    /// The variables in an order that puts parents first.
    pub variables: Vec<Variable>,
}

/// "This variable is on" or "is off", in the slice of the observation that holds it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Literal {
    /// An on/off variable.
    pub var: VarIx,
    /// Whether it must be on.
    pub on: bool,
}

/// One row of an observation read first-true-first.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// The row holds where any of these does.
    pub any_of: Vec<Literal>,
    /// The chance (or density) of what was observed where this is the first row that holds, >= 0.
    pub likelihood: f64,
}

/// Something observed.
#[derive(Clone, Debug, PartialEq)]
pub enum Observation {
    /// The chance of what was observed in each state of a variable, each >= 0. A hard finding has zeros.
    State {
        /// The variable.
        var: VarIx,
        /// One entry a state.
        likelihood: Vec<f64>,
    },
    /// A check's answer: the first row that holds in `slice` gives the chance of what was observed.
    Rows {
        /// The slice in which the check was made.
        slice: usize,
        /// The rows, first-true-first.
        rows: Vec<Row>,
        /// The chance where no row holds, >= 0.
        otherwise: f64,
    },
}

impl Network {
    /// The variable at `ix`.
    ///
    /// # Panics
    /// Where `ix` is not of this network: our bug.
    #[must_use]
    pub fn variable(&self, ix: VarIx) -> &Variable {
        &self.variables[ix.at()]
    }

    /// The parents of `ix`, in the order its mechanism names them.
    #[must_use]
    pub fn parents(&self, ix: VarIx) -> Vec<VarIx> {
        match &self.variable(ix).mechanism {
            Mechanism::Table { parents, .. } => parents.clone(),
            Mechanism::Any { links, .. } | Mechanism::All { links, .. } | Mechanism::AtLeast { links, .. } => {
                links.iter().map(|link| link.from).collect()
            }
            Mechanism::Count { of, .. } => of.clone(),
        }
    }

    /// The slices in which `ix` is on when in `state`; none for a variable of unnamed states.
    #[must_use]
    pub fn on_in(&self, ix: VarIx, state: usize) -> SliceSet {
        match &self.variable(ix).states {
            States::Plain(_) => SliceSet::NONE,
            States::OnIn(sets) => sets[state],
        }
    }

    /// An observation that `var` is on (or off) in `slice`, for certain.
    #[must_use]
    pub fn found(&self, var: VarIx, slice: usize, on: bool) -> Observation {
        let states = self.variable(var).states.count();
        let likelihood = (0..states).map(|s| f64::from(u8::from(self.on_in(var, s).has(slice) == on))).collect();
        Observation::State { var, likelihood }
    }
}
