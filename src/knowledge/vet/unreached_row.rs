//! Every row of a check can be reached, and the last always holds.
//!
//! A row is reached where its own condition holds and that of no row above it. Whether some states do that is decided
//! by search: the row's clauses must all hold, and of each row above one clause must fail. States count as free of each
//! other, as leaks make them so in the model; a row that only the sureness of a gate makes unreachable is not reported.

use super::super::{CheckRow, Clause, State, codes};
use super::Whole;
use std::collections::BTreeMap;

/// The most steps of one search. Rows that need more are taken as reached.
const MOST_STEPS: usize = 20_000;

/// Reports rows never reached, and a last row that does not always hold.
pub(super) fn check(whole: &mut Whole) {
    let checks = &whole.knowledge.checks;
    for (ix, check) in checks.iter() {
        let id = checks.id(ix);
        if whole.hurt(id) {
            continue;
        }
        for (at, row) in check.rows.iter().enumerate() {
            if !reached(row, &check.rows[..at]) {
                let why = match check.rows[..at].iter().position(|above| above.when.is_empty()) {
                    Some(above) => {
                        format!("row {} of check `{id}` is never reached: row {} always holds", at + 1, above + 1)
                    }
                    None if at > 0 && reached(row, &[]) => {
                        format!(
                            "row {} of check `{id}` is never reached: where it holds, a row above it holds too",
                            at + 1
                        )
                    }
                    None => {
                        format!("row {} of check `{id}` is never reached: its condition contradicts itself", at + 1)
                    }
                };
                whole.error(codes::ROW_NEVER_REACHED, &format!("{id}.given[{at}]"), why, Vec::new());
            }
        }
        if let Some(last) = check.rows.last()
            && !last.when.is_empty()
        {
            let message = format!("expected the last row of check `{id}` to have no `when`, found one");
            let hints = vec!["add a row that says what a sound craft shows".to_owned()];
            whole.error(codes::NO_CATCH_ALL, &format!("{id}.given[{}]", check.rows.len() - 1), message, hints);
        }
    }
}

/// Whether states can be such that this row holds and none of those above it.
fn reached(row: &CheckRow, above: &[CheckRow]) -> bool {
    let mut steps = 0;
    search(&row.when, above, &mut BTreeMap::new(), &mut steps)
}

/// Chooses a literal to hold of each clause, then of each row above a clause to fail.
fn search(clauses: &[Clause], above: &[CheckRow], known: &mut BTreeMap<State, bool>, steps: &mut usize) -> bool {
    *steps += 1;
    if *steps > MOST_STEPS {
        return true;
    }
    if let Some((clause, rest)) = clauses.split_first() {
        return clause
            .0
            .iter()
            .any(|(state, present)| with(known, &[(*state, *present)], |known| search(rest, above, known, steps)));
    }
    let Some((row, rest)) = above.split_first() else { return true };
    row.when.iter().any(|clause| {
        let fails: Vec<_> = clause.0.iter().map(|(state, present)| (*state, !*present)).collect();
        with(known, &fails, |known| search(clauses, rest, known, steps))
    })
}

/// Tries what follows with more states known; takes them back after.
fn with(
    known: &mut BTreeMap<State, bool>,
    more: &[(State, bool)],
    then: impl FnOnce(&mut BTreeMap<State, bool>) -> bool,
) -> bool {
    let mut added = Vec::new();
    let mut fits = true;
    for (state, value) in more {
        match known.get(state) {
            Some(other) if other != value => {
                fits = false;
                break;
            }
            Some(_) => {}
            None => {
                known.insert(*state, *value);
                added.push(*state);
            }
        }
    }
    let found = fits && then(known);
    for state in added {
        known.remove(&state);
    }
    found
}

#[cfg(test)]
mod tests {
    use super::super::super::{Gives, Ix};
    use super::*;
    use proptest::prelude::*;

    fn row(clauses: &[&[(usize, bool)]]) -> CheckRow {
        let literal = |(at, present): &(usize, bool)| (State::Cause(Ix::new(*at)), *present);
        let when = clauses.iter().map(|c| Clause(c.iter().map(literal).collect())).collect();
        CheckRow { when, gives: Gives::Chances(Vec::new()), aired: None }
    }

    #[test]
    fn rows_above_may_cover_a_row_between_them() {
        let (a, not_a, b) = (row(&[&[(0, true)]]), row(&[&[(0, false)]]), row(&[&[(1, true)]]));
        assert!(reached(&b, std::slice::from_ref(&a)));
        assert!(!reached(&b, &[a, not_a]));
        assert!(!reached(&row(&[&[(0, true)], &[(0, false)]]), &[]));
        assert!(!reached(&b, &[row(&[&[(0, true), (1, true)]])]));
    }

    proptest! {
        /// The same answer as trying all states of four variables.
        #[test]
        fn search_agrees_with_enumeration(
            rows in prop::collection::vec(
                prop::collection::vec(prop::collection::vec((0usize..4, any::<bool>()), 1..4), 0..3), 1..6)
        ) {
            let rows: Vec<CheckRow> = rows
                .iter()
                .map(|r| row(&r.iter().map(Vec::as_slice).collect::<Vec<_>>()))
                .collect();
            let holds = |row: &CheckRow, states: usize| row.when.iter().all(|c| {
                c.0.iter().any(|(s, present)| {
                    let State::Cause(ix) = s else { unreachable!("only causes here") };
                    (states >> ix.at() & 1 == 1) == *present
                })
            });
            let (last, above) = rows.split_last().unwrap();
            let expected = (0..16).any(|s| holds(last, s) && !above.iter().any(|r| holds(r, s)));
            prop_assert_eq!(reached(last, above), expected);
        }
    }
}
