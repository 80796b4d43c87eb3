//! The codes of findings about a case file. A code, once given, keeps its meaning; what is wrong with the YAML itself
//! is told with the codes of [`crate::knowledge::codes`].

use crate::finding::codes;

codes! {
    FORMAT = "C001", "the format version is not one this program reads", "use `format: 1`";
    OTHER_KNOWLEDGE = "C002", "the case is of another knowledge base", "name that one with `--knowledge`";
    OTHER_VERSION = "C003", "the case was written with another version of the knowledge base", "read the answers over; then write the version of today";
    UNKNOWN_ID = "C004", "an id is not defined", "use the id the hint names";
    UNKNOWN_VALUE = "C005", "a check lacks this outcome, or a fact this value", "use one of those it has";
    NO_SUCH_PLACE = "C006", "this craft has no such place", "use one of its places, or name its layout under `craft`";
    NOT_FITTED = "C007", "the craft has nothing of the kind", "mend `craft`, or take the entry out";
    WHICH_PLACE = "C008", "it is not said where", "put `@` and the place after the id";
    NO_NUMBER = "C009", "a text is not a number with a unit", "write it like `9.8 bar`";
    WRONG_QUANTITY = "C010", "a unit measures something else", "use a unit of the quantity named";
    OFF_THE_SCALE = "C011", "a number is outside what can be measured", "look for a slip of the pen, in the number or in the unit";
    NO_READING = "C012", "a check gives outcomes, not a reading", "write `outcome:` and one of its outcomes";
    ONE_OF = "C013", "of several keys, not exactly one is given", "give exactly one of them";
    STRAY_KEY = "C014", "a key does not go with this entry", "take it out";
    NOT_A_TIME = "C015", "a text is not a moment", "write it like `2026-11-25T10:02:00Z`";
    BACKWARD = "C016", "an entry is older than the one before it", "put the entries in the order in which they happened";
    SHUT = "C017", "a repair was done behind something that the log says is shut", "add the entry that opens it, before the repair";
    GONE_UNREPAIRED = "C018", "a symptom is gone and nothing was repaired", "add the repair, if there was one; else it comes and goes, and may come back";
    TWICE = "C019", "the same thing is named twice", "drop one";
    NO_FIGURE = "C020", "a reading counts against a figure of the build sheet that the case lacks", "add it under `sheet`";
    AGAINST_INTERLOCK = "C021", "something was done while an interlock forbade it", "nothing can undo it; mind it when you judge the answers";
    NOBODY_ASKS = "C022", "no check needs this", "look for a slip of the pen";
    CONTRADICTS_HISTORY = "C023", "the craft and its history say different things", "mend one of them";
    AT_ODDS = "C024", "one complaint rules another out", "drop one, unless it is now this and now that";
}
