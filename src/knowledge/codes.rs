//! The codes of findings about a knowledge base. A code, once given, keeps its meaning.

/// One code: what is wrong and what to do about it.
#[derive(Clone, Copy, Debug)]
pub struct Code {
    /// `K014`.
    pub code: &'static str,
    /// What is wrong, in a few words.
    pub means: &'static str,
    /// What to do about it.
    pub mend: &'static str,
}

macro_rules! codes {
    ($($name:ident = $code:literal, $means:literal, $mend:literal;)*) => {
        $(#[doc = concat!("`", $code, "`: ", $means, ".")] pub const $name: &str = $code;)*

        /// Every code, in order.
        pub const ALL: &[Code] = &[$(Code { code: $code, means: $means, mend: $mend }),*];
    };
}

codes! {
    ENCODING = "K001", "a file is not plain UTF-8 text", "save it as UTF-8 without a byte order mark and without control characters";
    SYNTAX = "K002", "a file is not YAML", "mend the indentation, quote or bracket at the place given or just above it";
    UNKNOWN_KEY = "K003", "a key is not known here", "use one of the known keys; the hint names the nearest";
    MISSING_KEY = "K004", "a key is missing", "add it";
    WRONG_SHAPE = "K005", "a value is of the wrong kind", "write what the message expects";
    DUPLICATE_KEY = "K006", "a key stands twice in one map", "keep one; YAML has no order in which a second could count";
    UNKNOWN_FILE = "K007", "a file is of no known kind", "name it after the kind of item it holds, or put it into the folder of that kind";
    MISSING_FILE = "K008", "a file that a knowledge base needs is missing or empty", "add it; `craft.yaml` is the manifest";
    TOO_MUCH = "K009", "a file, or what it unfolds to, is larger than any knowledge base", "split the file; do not nest aliases";
    FORMAT = "K010", "the format version is not one this program reads", "use `format: 1`";
    NOT_KEBAB = "K011", "an id is not in kebab-case", "use lowercase letters and digits, words joined by single hyphens";
    DUPLICATE_ID = "K012", "an id is defined twice", "rename one; ids are unique over all kinds of items";
    RESERVED_ID = "K013", "an id is a word of the format", "choose another word";
    UNKNOWN_ID = "K014", "an id is not defined", "define it, or use the id the hint names";
    UNKNOWN_VALUE = "K015", "a check lacks this outcome, or a fact this value", "use one of the outcomes or values it has";
    TWICE = "K016", "a list names the same thing twice", "drop one";
    WRONG_KIND = "K017", "an id belongs to another kind of item", "name an item of the kind expected here";
    NOT_A_CHANCE = "K020", "a probability is outside 0..1", "write a share of one: 5 percent is 0.05";
    NEGATIVE = "K021", "an amount is negative", "write zero or more";
    NOT_FINITE = "K022", "a number is not finite", "write a number";
    OUT_OF_RANGE = "K023", "a number is outside what makes sense here", "write one in the range given";
    SUM = "K024", "chances or shares do not sum to the whole", "change one; the message prints the sum";
    NOT_POSITIVE_SD = "K026", "a standard deviation is not positive", "write how widely sound readings scatter; certainty needs no reading";
    UNKNOWN_UNIT = "K027", "a unit or a quantity is not known", "use one of the units listed";
    WRONG_QUANTITY = "K028", "a unit measures something else", "use a unit of the quantity named";
    RATE_OR_CHANCE = "K029", "a cause needs either a rate or a chance", "give one of the two";
    ONE_OF = "K030", "of several keys, not exactly one is given", "give exactly one of them";
    EMPTY = "K031", "a list or text that must hold something is empty", "fill it, or take the item out";
    EFFECT_CYCLE = "K032", "effects bring about each other in a circle", "cut the circle where the link is weakest; a fault tree has a direction";
    SCOPE = "K033", "a gate input counts instances that can never be there", "count instances of something that is `per:` something";
    SAME_INPUT = "K034", "a gate has the same input twice", "keep the stronger";
    AT_LEAST = "K035", "`at_least` asks for more inputs than there are", "lower `k` or add inputs";
    ROW_NEVER_REACHED = "K040", "a row is never reached", "move it up, or take it out";
    NO_CATCH_ALL = "K041", "the last row does not always hold", "add a last row without `when`";
    ROW_OUTCOMES = "K042", "a row leaves out an outcome", "give every outcome its chance, 0 if need be";
    BANDS = "K043", "bands leave a gap, overlap or do not cover the scale", "make each begin where the one below ends, from `least` to `most`";
    LEAST_MOST = "K044", "the scale of a reading is empty", "make `least` less than `most`";
    ROW_KIND = "K045", "a row gives the wrong kind of chances", "give `chances` for outcomes and `normal` for a reading";
    LAYOUT = "K050", "a layout does not fit together", "have every cylinder fed by a carburetor and every carburetor by a pump";
    FITTED = "K051", "`fitted` asks something that cannot be answered", "ask for options by true or false, `cylinders` by number, `layout` by a list";
    ACCESS_CYCLE = "K055", "access needs itself", "let each access need only what comes off before it";
    NO_CONTROL = "K060", "a hazard has no caution or no control", "say what it does to a person and what to do about it";
    NEVER_CLOSES = "K061", "a hazard opens but nothing closes it", "add `closed_by`, or let it be a caution only";
    NEVER_OPENS = "K062", "an interlock waits for a hazard that nothing opens", "add `opened_by` or `open_at_start` to the hazard";
    BARS_ITS_OWN_KEY = "K063", "an interlock bars the check that would end it", "let that check through with `except`, or bar less";
    IDLE_INTERLOCK = "K064", "an interlock that is never on or bars nothing", "say when it holds and what it bars";
    LOCKED_TOGETHER = "K065", "interlocks that are all on bar each other's ends", "let one of the checks through with `except`";
    REMOVES_NOTHING = "K070", "a repair removes nothing", "name the causes it removes, or say `kind: service`";
    SERVICE_REMOVES = "K071", "a service step removes causes", "drop `kind: service`, or drop `removes`";
    NO_PASS = "K072", "a proof does not say what passes", "give `pass` here or on the check";
    VERDICT = "K073", "a verdict takes `otherwise` twice", "let one of reuse, clean and replace take the rest";
    STEP_IGNITES = "K074", "a step ignites, and what it belongs to does not say so", "give the repair or access `ignites: true`, or the step none";
    DEAD_END = "K080", "a cause or effect leads to no symptom", "let an effect or symptom read it, or take it out";
    NO_REPAIR = "K081", "no repair removes a cause", "add it to a repair's `removes`";
    NO_CHECK = "K082", "no check can tell anything about a cause", "add a check whose rows read it or an effect of it";
}

/// The table as a page: `docs/findings.md`.
#[must_use]
pub fn page() -> String {
    let mut text = String::from(
        "# Findings about a knowledge base\n\n\
         `doldrum vet` names every finding by a code that keeps its meaning. Codes from K080 on are advice: the knowledge base \
         can be used, but is better without them.\n\n\
         | code | what is wrong | what to do |\n| --- | --- | --- |\n",
    );
    for Code { code, means, mend } in ALL {
        text.extend(["| ", code, " | ", means, " | ", mend, " |\n"]);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_unique_and_in_order() {
        assert!(ALL.windows(2).all(|pair| pair[0].code < pair[1].code));
    }
}
