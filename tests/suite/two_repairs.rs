//! What two repairs come to together, worked out from what each does alone, against working both out at once.

use crate::watercraft;
use doldrum::decision::simulate::{Bits, Simulator};
use doldrum::inference::Accuracy;
use doldrum::knowledge::Cause;
use doldrum::knowledge::layout::{Instance, Laid};
use doldrum::model::network::VarIx;

/// Worlds looked at.
const WORLDS: usize = 1024;

/// The faults of worked jobs, whose links are cut, two by two. Each is removed in worlds of its own, so that some are
/// removed by both, some by one and some by neither.
#[test]
fn two_repairs_are_what_each_does_and_what_both_reach() {
    let knowledge = watercraft::knowledge();
    for name in ["w01", "w04", "w06"] {
        let case = watercraft::case(&knowledge, name);
        let laid = Laid::new(&knowledge, case.craft.clone());
        let (belief, _) = watercraft::belief(&laid, &case);
        let worlds = belief.worlds(WORLDS, 1, &doldrum::inference::Limits::default()).expect("within the limits");
        assert!(matches!(worlds.accuracy(), Accuracy::Cut { .. }), "{name}: worlds follow others over cut links");
        let symptoms: Vec<VarIx> = case.symptoms.iter().filter_map(|s| belief.model.symptom(*s)).collect();
        let simulator = Simulator::new(&belief.model, &worlds, &symptoms, 1);
        let faults: Vec<Instance<Cause>> =
            belief.model.causes.iter().map(|(cause, _)| *cause).filter(|cause| simulator.matters(cause)).collect();
        let clears = |mask: u64| -> Bits { vec![mask; WORLDS / 64] };
        let mut together = 0;
        let (shared, faults) = faults.split_first().expect("there are faults");
        let shared = *shared;
        for (at, first) in faults.iter().enumerate() {
            for second in &faults[at..] {
                let a = [(*first, clears(0x5555_5555_ffff_ffff)), (shared, clears(0x0f0f_0f0f_0f0f_0f0f))];
                let b = [(*second, clears(0xffff_ffff_3333_3333)), (shared, clears(0x00ff_00ff_00ff_00ff))];
                let (after_a, after_b) = (simulator.after(&a), simulator.after(&b));
                let mut both: Vec<(Instance<Cause>, Bits)> = Vec::new();
                for (cause, cleared) in a.iter().chain(&b) {
                    match both.iter_mut().find(|(known, _)| known == cause) {
                        Some((_, known)) => known.iter_mut().zip(cleared).for_each(|(known, more)| *known |= more),
                        None => both.push((*cause, cleared.clone())),
                    }
                }
                let gone = simulator.gone_after_both(&after_a, &after_b);
                assert_eq!(gone, simulator.gone_without(&both), "{name}: {first:?} and {second:?}");
                let alone = |after| simulator.gone_in(after);
                let (gone_a, gone_b) = (alone(&after_a), alone(&after_b));
                together += u32::from(gone.iter().zip(gone_a.iter().zip(&gone_b)).any(|(g, (a, b))| g & !(a | b) != 0));
            }
        }
        assert!(together > 0, "{name}: some are cured by two together only");
    }
}
