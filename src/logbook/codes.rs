//! The codes of findings about a file of learned numbers. A code, once given, keeps its meaning; what is wrong with the
//! YAML itself is told with the codes of [`crate::knowledge::codes`].

use crate::finding::codes;

codes! {
    FORMAT = "L001", "the format version is not one this program reads", "use `format: 1`";
    OTHER_KNOWLEDGE = "L002", "the numbers were learned for another knowledge base", "name that one with `--knowledge`";
    OTHER_VERSION = "L003", "the numbers were learned for another version of the knowledge base", "learn again";
    UNKNOWN_ID = "L004", "the knowledge base has no such cause, check or row", "learn again";
    NOT_A_CHANCE = "L005", "a chance is outside 0..1", "learn again";
    MOVED = "L006", "the knowledge base has another number now than the one that was learned from", "learn again, or the author's new number would be lost";
    SUM = "L007", "the chances of a row do not sum to one, or an outcome is left out", "learn again";
    TWICE = "L008", "a number is learned twice", "drop one";
    NEGATIVE = "L009", "a count is negative or not finite", "learn again";
}
