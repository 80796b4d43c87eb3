//! Every outcome of every check that has no answer yet, as sums over events that checks share.

use crate::model::network::{Literal, Mechanism, Observation, Row, States, VarIx};

use super::kernel::Lanes;
use super::prepared::{Asked, CANCELED, Event, Prepared};
use super::solve::Standing;
use super::{Accuracy, Error};

/// An outcome less likely than this is asked for by itself: what is left of it after subtracting has too few digits.
const RARE: f64 = 1e-6;
/// So many checks share their events, which bounds the memory that the events take.
const CHECKS_AT_ONCE: usize = 128;

/// A check that has no answer yet.
#[derive(Clone, Debug, PartialEq)]
pub enum OpenCheck {
    /// A variable given by a table, on which nothing depends and which is not observed; its states are the outcomes.
    Variable(VarIx),
    /// Rows read first-true-first.
    Rows {
        /// The slice in which it would be made.
        slice: usize,
        /// The rows; a row holds where any of its literals does.
        rows: Vec<Vec<Literal>>,
        /// For each outcome its chance under each row, then where no row holds.
        chances: Vec<Vec<f64>>,
    },
}

/// The chance of every target for every outcome of every open check.
#[derive(Clone, Debug, PartialEq)]
pub struct ByOutcome {
    targets: usize,
    /// For each check where its outcomes begin.
    starts: Vec<usize>,
    chances: Vec<f64>,
    posteriors: Vec<f64>,
}

impl ByOutcome {
    /// How many outcomes `check` has.
    ///
    /// # Panics
    /// Where there is no such check: our bug.
    #[must_use]
    pub fn outcomes(&self, check: usize) -> usize {
        self.starts[check + 1] - self.starts[check]
    }

    /// The chance of an outcome given the observations.
    ///
    /// # Panics
    /// Where there is no such check or outcome: our bug.
    #[must_use]
    pub fn chance(&self, check: usize, outcome: usize) -> f64 {
        self.chances[self.starts[check] + outcome]
    }

    /// The chance of each target, in the order asked for, given the observations and the outcome; zeros for an outcome
    /// that cannot be.
    ///
    /// # Panics
    /// Where there is no such check or outcome: our bug.
    #[must_use]
    pub fn targets(&self, check: usize, outcome: usize) -> &[f64] {
        let at = self.starts[check] + outcome;
        &self.posteriors[at * self.targets..(at + 1) * self.targets]
    }

    /// What [`ByOutcome::targets`] gives, for all outcomes of the first check, then of the second and so on; no copy is
    /// made.
    #[must_use]
    pub fn into_targets(self) -> Vec<f64> {
        self.posteriors
    }
}

impl Prepared<'_> {
    /// The chance of each target (an event about one variable: a cause is on), for every outcome of every check. The
    /// targets must be about roots or what bears on what was observed or is open; what the checks read must be open.
    ///
    /// Every answer to a check is a sum over a few events, shared between checks: "none of the first r rows holds", or
    /// "this parent is in that state, and that one in this". Each event costs a lane of a pass.
    ///
    /// Absolute error of a posterior: about 1e-15 over the chance of the outcome; outcomes rarer than one in a million
    /// are asked for one by one.
    ///
    /// # Errors
    /// [`Error::Observation`] for a check that does not fit the network or reads what is not open; otherwise as
    /// [`Engine::posterior`](super::Engine::posterior).
    ///
    /// # Panics
    /// Where an event that was just listed is not in the list: our bug.
    pub fn by_outcome(&self, checks: &[OpenCheck], targets: &[Event]) -> Result<ByOutcome, Error> {
        let terms: Vec<Terms> = checks.iter().map(|check| self.terms(check)).collect::<Result<_, _>>()?;
        let outcomes: usize = terms.iter().map(|terms| outcomes_of(terms)).sum();
        let mut answer = ByOutcome {
            targets: targets.len(),
            starts: vec![0],
            chances: Vec::with_capacity(outcomes),
            posteriors: Vec::with_capacity(outcomes * targets.len()),
        };
        let asked = self.asked(targets)?;
        for (checks, terms) in checks.chunks(CHECKS_AT_ONCE).zip(terms.chunks(CHECKS_AT_ONCE)) {
            self.mix(checks, terms, targets, &asked, &mut answer)?;
        }
        Ok(answer)
    }

    /// The outcomes of some checks from the chances of the events that they share.
    fn mix(
        &self,
        checks: &[OpenCheck],
        terms: &[Terms],
        targets: &[Event],
        asked: &[Asked],
        answer: &mut ByOutcome,
    ) -> Result<(), Error> {
        let mut events: Vec<Event> = terms.iter().flatten().map(|(event, _)| event.clone()).collect();
        events.sort_unstable();
        events.dedup();
        let joint = self.joint_of(&events, asked)?;
        let width = targets.len() + 1;
        let mut sums = vec![0.0; width];
        let mut lost = vec![None; events.len()];
        for (check, terms) in checks.iter().zip(terms) {
            for outcome in 0..outcomes_of(terms) {
                sums.fill(0.0);
                let mut parts: Vec<(usize, f64)> = Vec::with_capacity(terms.len());
                for (event, by_outcome) in terms {
                    let factor = by_outcome[outcome];
                    if factor != 0.0 {
                        let at = events.binary_search(event).expect("put in above");
                        sums.iter_mut().zip(&joint[at * width..][..width]).for_each(|(s, j)| *s += factor * j);
                        parts.push((at, factor));
                    }
                }
                let chance = sums[width - 1];
                if chance >= RARE && self.tells(chance, &parts, &events, &mut lost)? {
                    answer.chances.push(chance);
                    answer.posteriors.extend(sums[..width - 1].iter().map(|s| (s / chance).clamp(0.0, 1.0)));
                } else {
                    self.rare(check, outcome, targets, answer)?;
                }
            }
            answer.starts.push(answer.chances.len());
        }
        Ok(())
    }

    /// Whether what stands tells enough about an outcome of this chance, the sum of `parts` (an event and its factor):
    /// the digits that were lost weigh more the rarer it is. Where links are cut, the cut costs far more than they do.
    ///
    /// `lost` keeps what was lost of each event once that was asked for.
    fn tells(
        &self,
        chance: f64,
        parts: &[(usize, f64)],
        events: &[Event],
        lost: &mut [Option<f64>],
    ) -> Result<bool, Error> {
        if self.standing.accuracy != Accuracy::Exact || self.errors.total <= CANCELED * chance {
            return Ok(true);
        }
        let mut all = 0.0;
        for &(at, factor) in parts {
            let of_event = match lost[at] {
                Some(known) => known,
                None => *lost[at].insert(self.lost(&events[at])?),
            };
            all += factor.abs() * of_event;
        }
        Ok(all <= CANCELED * chance)
    }

    /// What cancellation may have cost the chance of `event`, alone or together with a target: never more than it cost
    /// that of the observations, and as a rule less the rarer the event is.
    fn lost(&self, event: &Event) -> Result<f64, Error> {
        let Standing { graph, program, upward: plain, .. } = &self.standing;
        if event.allowed.is_empty() {
            return Ok(self.errors.total);
        }
        let first_lane = |(node, table): (usize, Vec<Lanes>)| (node, table.iter().map(|lanes| lanes.0[0]).collect());
        let changed: Vec<(usize, Vec<f64>)> =
            self.changed(std::slice::from_ref(event), &[0])?.into_iter().map(first_lane).collect();
        let upward = program.up_changed(plain, &changed);
        if !upward.ln.is_finite() || upward.positive == graph.negative {
            return Ok(self.errors.total);
        }
        let relative = program.errors_changed(&upward, &self.errors, changed.iter().map(|&(node, _)| node));
        Ok((relative * libm::exp(upward.ln - plain.ln)).min(self.errors.total))
    }

    /// A rare outcome, asked for by itself.
    fn rare(&self, check: &OpenCheck, outcome: usize, targets: &[Event], answer: &mut ByOutcome) -> Result<(), Error> {
        let mut observations = self.observations.clone();
        observations.push(self.answered(check, outcome));
        let asked: Vec<VarIx> =
            targets.iter().filter_map(|target| target.allowed.first()).map(|&(var, _)| var).collect();
        match self.engine.posterior_with(&observations, &asked, &self.limits) {
            Ok(posterior) => {
                answer.chances.push(libm::exp(posterior.log_evidence() - self.standing.log_evidence).min(1.0));
                let chance = |(var, allowed): &(VarIx, Vec<bool>)| -> f64 {
                    posterior.of(*var).iter().zip(allowed).filter(|&(_, &allowed)| allowed).map(|(p, _)| p).sum()
                };
                answer.posteriors.extend(targets.iter().filter_map(|target| target.allowed.first()).map(chance));
                Ok(())
            }
            Err(Error::Contradiction) => {
                answer.chances.push(0.0);
                answer.posteriors.extend(targets.iter().map(|_| 0.0));
                Ok(())
            }
            Err(error) => Err(error),
        }
    }

    /// The observation that a check came out so.
    fn answered(&self, check: &OpenCheck, outcome: usize) -> Observation {
        match check {
            OpenCheck::Variable(var) => {
                let states = self.base().network.variable(*var).states.count();
                let likelihood = (0..states).map(|state| f64::from(u8::from(state == outcome))).collect();
                Observation::State { var: *var, likelihood }
            }
            OpenCheck::Rows { slice, rows, chances } => {
                let row = |(any_of, &likelihood): (&Vec<Literal>, &f64)| Row { any_of: any_of.clone(), likelihood };
                let rows_of = rows.iter().zip(&chances[outcome]).map(row).collect();
                Observation::Rows { slice: *slice, rows: rows_of, otherwise: chances[outcome][rows.len()] }
            }
        }
    }

    /// The chance of each outcome as a sum over events, each with a factor for each outcome.
    fn terms(&self, check: &OpenCheck) -> Result<Terms, Error> {
        let mut terms = match check {
            OpenCheck::Variable(var) => self.terms_of_table(*var)?,
            OpenCheck::Rows { slice, rows, chances } => self.terms_of_rows(*slice, rows, chances)?,
        };
        // "Anything" stands first and stays: it says how many outcomes there are.
        let mut at = 0;
        terms.retain(|(_, factors)| {
            at += 1;
            at == 1 || factors.iter().any(|&f| f != 0.0)
        });
        Ok(terms)
    }

    /// `l_0` + sum over r of (`l_r` - `l_{r-1}`) [none of the first r rows holds].
    fn terms_of_rows(&self, slice: usize, rows: &[Vec<Literal>], chances: &[Vec<f64>]) -> Result<Terms, Error> {
        if slice >= self.base().network.slices || chances.iter().any(|of_rows| of_rows.len() != rows.len() + 1) {
            return Err(Error::Observation("expected a chance for each row and one more, in a known slice".to_owned()));
        }
        let mut event = Event::anything();
        let mut terms = vec![(event.clone(), chances.iter().map(|of_rows| of_rows[0]).collect())];
        for (r, row) in rows.iter().enumerate() {
            for literal in row {
                self.node(literal.var)?;
                let variable = self.base().network.variable(literal.var);
                let States::OnIn(sets) = &variable.states else {
                    return Err(Error::Observation(format!("expected an on/off variable, found `{}`", variable.name)));
                };
                event = event.and(literal.var, sets.iter().map(|set| set.has(slice) != literal.on).collect());
            }
            terms.push((event.clone(), chances.iter().map(|of_rows| of_rows[r + 1] - of_rows[r]).collect()));
        }
        Ok(terms)
    }

    /// A table as a sum over which parents are away from their likeliest state, and where: the largest events need no
    /// pass, and a parent alone serves every check that reads it.
    fn terms_of_table(&self, var: VarIx) -> Result<Terms, Error> {
        let base = self.base();
        let not_a_table = || Error::Observation("expected an unobserved variable given by a table".to_owned());
        let variable = base.network.variables.get(var.at()).ok_or_else(not_a_table)?;
        let Mechanism::Table { parents, rows } = &variable.mechanism else { return Err(not_a_table()) };
        for &parent in parents {
            self.node(parent)?;
        }
        let outcomes = variable.states.count();
        let counts: Vec<usize> = parents.iter().map(|&parent| base.network.variable(parent).states.count()).collect();
        let usual: Vec<usize> = parents.iter().map(|&parent| likeliest(&base.priors[parent.at()])).collect();
        let row_of = |states: &[usize]| states.iter().zip(&counts).fold(0, |at, (&state, &n)| at * n + state);
        let mut terms = Vec::new();
        let mut states = usual.clone();
        let configurations: usize = counts.iter().product();
        // The usual configuration comes first, then all others as they count up.
        for configuration in std::iter::once(row_of(&usual)).chain((0..configurations).filter(|&c| c != row_of(&usual)))
        {
            let mut rest = configuration;
            for (state, &n) in states.iter_mut().zip(&counts).rev() {
                (*state, rest) = (rest % n, rest / n);
            }
            let away: Vec<usize> = (0..parents.len()).filter(|&i| states[i] != usual[i]).collect();
            let mut factors = vec![0.0; outcomes];
            for kept in 0..1u32 << away.len() {
                let mut corner = usual.clone();
                away.iter()
                    .enumerate()
                    .filter(|&(bit, _)| kept >> bit & 1 == 1)
                    .for_each(|(_, &i)| corner[i] = states[i]);
                let sign = if (away.len() as u32 - kept.count_ones()).is_multiple_of(2) { 1.0 } else { -1.0 };
                let row = &rows[row_of(&corner) * outcomes..][..outcomes];
                factors.iter_mut().zip(row).for_each(|(f, p)| *f += sign * p);
            }
            let only = |i: usize| (0..counts[i]).map(|state| state == states[i]).collect();
            let event = away.iter().fold(Event::anything(), |event, &i| event.and(parents[i], only(i)));
            terms.push((event, factors));
        }
        Ok(terms)
    }
}

/// The chances of a check's outcomes as a sum over events, "anything" first: each with a factor for each outcome.
type Terms = Vec<(Event, Vec<f64>)>;

fn outcomes_of(terms: &[(Event, Vec<f64>)]) -> usize {
    terms.first().map_or(0, |(_, factors)| factors.len())
}

fn likeliest(distribution: &[f64]) -> usize {
    (0..distribution.len()).max_by(|&a, &b| distribution[a].total_cmp(&distribution[b])).unwrap_or(0)
}
