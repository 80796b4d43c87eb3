//! The codes of advice about a knowledge base that can be used as it is.

use crate::finding::codes;

codes! {
    SOURCE_UNUSED = "K083", "a source is listed and nothing cites it", "cite it where a number comes from it, or take it out",
        "Who looks for the ground of a number reads this list. A source that carries nothing lends its name to all of it.";
    FROM_MEMORY = "K084", "a number is said to be published, but its source is known from memory only", "read the source and mark it `read`, or write `basis: estimate`",
        "A remembered figure is a guess with a good name. It may be right; nobody can tell.";
    NO_SUCH_ID = "K085", "a word in a text looks like an id of this base and is none", "write the id the hint names, or plain words",
        "Ids in texts are not looked up by the program, so a check that was renamed lives on in the words of another one.";
    NEVER_FIRES = "K086", "an effect or symptom can hardly ever come about", "look at what it reads: a strength of 0, inputs that are not fitted, `all` over what never meets",
        "Worked out as a bound: even with every input as likely as it can be, in no layout does it come about in one job of a million. \
         Whatever reads it, reads nothing.";
    NO_HELP = "K087", "no answer to a check moves any cause", "let its rows read what it shows, or take it out",
        "With each symptom named in turn, on every layout, the chances of its answers are the same whether a cause is there or not \
         (within 2 in 100). It is never worth its minutes. A check that opens or closes a hazard, proves a repair or holds an interlock is let be.";
    NOT_SEPARATED = "K088", "no check separates causes that different repairs remove", "add a check whose answer differs between them, or let one repair remove both",
        "Whatever is asked, whoever guesses between them by the best check is right at most 55 times in 100, so the first repair \
         tried is a matter of price and luck.";
    NEVER_CHOSEN = "K089", "a check was never chosen in the jobs played", "look at its cost and rows: what tells the same for less? Play more jobs before taking it out",
        "Found with `--play`. A check that a dearer or blunter way always beats costs its author and its readers time. In a few hundred \
         jobs a rare symptom may not have come up.";
    OWNER_WORDS = "K090", "a check that an owner could make has no words for owners", "add `owner: {ask, kind}`; or raise its `skill` if an owner should not",
        "Its skill is 1, it takes no tool, and all it opens an owner may open; without a question in plain words it is never asked on the phone.";
    CAUTION_LATE = "K091", "a hazard is raised and no step carries its caution", "put `caution:` on the step that meets it first",
        "The caution then stands at the head of the work order only, and is forgotten by the time it counts.";
    CAUTION_UNRAISED = "K092", "a step carries a caution for a hazard that its item does not raise", "add the hazard to `raises`",
        "Interlocks and the list of hazards look at `raises`. A caution on a step alone is seen by neither.";
    NO_HAZARD = "K093", "work that ignites or cranks raises no hazard", "name under `raises` what can hurt: turning parts, sparks, fuel mist",
        "Whoever cranks or runs an engine is never without one.";
    PRIOR_SCALE = "K094", "a cause's chance before any answer is out of scale", "look at `rate`, `chance` and `chance_per_rate`",
        "Likelier than not before anything is known, or rarer than one job in a million: the first drowns every answer, the second is never found. \
         Most often a rate was written as a chance, or the other way round.";
    OWNER_SOUNDS = "K095", "a check for owners does not say what an answer sounds like", "add under `owner`: `sounds: {outcome: [what an owner says]}`",
        "Nobody on a phone says the name of an outcome. Whoever guides an owner then guesses which answer was meant, \
         and what they guess weighs as much as what was seen.";
    PUT_BACK_WORDS = "K096", "what is opened has no words for putting it back", "add `put_back: Fit the carburetor`, as somebody is told",
        "The title says how things stand while it is open. \"Put back: fuel lines open\" can be read as an order to open them.";
}
