//! Every code as a page: `docs/findings.md`.

use super::codes;
use crate::finding::Code;
use std::fmt::Write as _;

const HEAD: &str = "\
# Findings

Every finding has a code that keeps its meaning. `doldrum vet` prints those about a knowledge base (K), every command that
reads a case or a file of learned numbers those about it (C, L). An **error** means that it cannot be used so; **advice**
that it can, and is better without: codes of knowledge from K080 on, and K065. `doldrum vet` ends with 1 where there is an
error; with `--deny advice`, where there is anything.
";

/// The page.
#[must_use]
pub fn page() -> String {
    let mut text = HEAD.to_owned();
    table(&mut text, "A knowledge base", crate::knowledge::codes::ALL);
    text.push_str(
        "\n## Advice for authors\n\nGiven by `doldrum vet` alone, on a knowledge base without errors. Thresholds are ours; they stand in `src/vet/`.\n",
    );
    for Code { code, means, mend, why } in codes::ALL {
        let _ = write!(text, "\n### {code}: {means}\n\n{}\n\n**What to do:** {mend}.\n", folded(why));
    }
    table(&mut text, "A case", crate::case::codes::ALL);
    table(&mut text, "A file of learned numbers", crate::logbook::codes::ALL);
    text
}

fn table(text: &mut String, title: &str, codes: &[Code]) {
    let _ = write!(text, "\n## {title}\n\n| code | what is wrong | what to do |\n| --- | --- | --- |\n");
    for Code { code, means, mend, .. } in codes {
        let _ = writeln!(text, "| {code} | {means} | {mend} |");
    }
}

/// As the table of codes is written: runs of spaces are one.
fn folded(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
