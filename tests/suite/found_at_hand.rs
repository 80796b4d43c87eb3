//! What was found and costs little to put right is put right, not looked past.

use crate::watercraft;
use doldrum::access::AccessGraph;
use doldrum::belief::believe;
use doldrum::case::text;
use doldrum::decision::{Action, Settings, appraise};
use doldrum::inference::Limits;
use doldrum::knowledge::layout::Laid;

/// Whoever finds the fuel tap off turns it on and tries, before a plug comes out (common practice, no source). Where it cures,
/// the look is saved; where it does not, the look comes after it: by that alone it comes to less than the best look first.
#[test]
fn a_tap_that_is_off_is_turned_on_before_a_plug_comes_out() {
    let knowledge = watercraft::knowledge();
    for layout in ["single", "twin-each"] {
        let log = format!(
            "format: 1\nknowledge: {{id: watercraft-two-stroke}}\ncraft: {{layout: {layout}}}\nsymptoms: [sy-cranks-no-start]\n\
             log:\n  - {{check: ck-smell-hull, outcome: none, aired: 10 min}}\n  \
             - {{check: ck-selector-position, outcome: off-or-between}}\n"
        );
        let (case, findings) = text::read("c.yaml", &log, &knowledge);
        let case = case.unwrap_or_else(|| panic!("{findings:?}"));
        let laid = Laid::new(&knowledge, case.craft.clone());
        let belief = believe(&laid, &case, &Limits::default()).expect("within the limits");
        let graph = AccessGraph::new(&knowledge);
        let (advice, all) = appraise(&laid, &graph, &case, &belief, &Settings::default()).expect("within the limits");
        let Action::Repair(repair, _) = &advice.next.action else { panic!("{layout}: {:?}", advice.next.action) };
        assert_eq!(knowledge.repairs.id(*repair), "rm-tap-on", "{layout}");
        // By hand from the prices alone: where the tap cures, the best look and the tap after it are saved.
        let of = |wanted: &dyn Fn(&Action) -> bool| all.iter().find(|a| wanted(&a.action)).expect("it is weighed");
        let tap = of(&|action| *action == advice.next.action);
        let look = of(
            &|action| matches!(action, Action::Check(check) if knowledge.checks.id(check.item) == "ck-spark-tester"),
        );
        let saved = tap.cures * (look.cost.get() + tap.cost.get());
        assert!(saved > tap.cost.get(), "{layout}: {saved} is saved, it costs {:?}", tap.cost);
    }
}
