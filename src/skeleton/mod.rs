//! What an author starts from: a small knowledge base that works, and a case with nothing in it, both full of comments.

use crate::knowledge::Knowledge;
use std::fmt::Write as _;

/// The files of the base, `{{id}}` and `{{title}}` left open.
const BASE: [(&str, &str); 8] = [
    ("craft.yaml", include_str!("base/craft.yaml")),
    ("causes.yaml", include_str!("base/causes.yaml")),
    ("effects.yaml", include_str!("base/effects.yaml")),
    ("symptoms.yaml", include_str!("base/symptoms.yaml")),
    ("checks.yaml", include_str!("base/checks.yaml")),
    ("access.yaml", include_str!("base/access.yaml")),
    ("hazards.yaml", include_str!("base/hazards.yaml")),
    ("repairs.yaml", include_str!("base/repairs.yaml")),
];

/// The id of a knowledge base of this name: "Garden pump" as `garden-pump`; `my-craft` where nothing of it can stand in
/// an id.
#[must_use]
pub fn id_of(name: &str) -> String {
    let words: Vec<String> = name
        .split(|c: char| !c.is_ascii_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_ascii_lowercase)
        .collect();
    let id: String = words.join("-").chars().take(60).collect();
    let id = id.trim_matches('-').to_owned();
    if id.is_empty() { "my-craft".to_owned() } else { id }
}

/// A knowledge base of one symptom, two causes, a check and a repair: each file's name and its text.
#[must_use]
pub fn base(name: &str) -> Vec<(&'static str, String)> {
    let (id, title) = (id_of(name), quoted(name));
    BASE.into_iter().map(|(file, text)| (file, text.replace("{{id}}", &id).replace("{{title}}", &title))).collect()
}

/// A text as YAML reads it whatever stands in it. JSON is YAML.
fn quoted(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}

/// A case of a knowledge base in which nothing is answered yet; every choice there is stands in comments at its end.
#[must_use]
pub fn case(knowledge: &Knowledge) -> String {
    let mut text = String::from("# One job. What can stand under each key is listed below.\nformat: 1\n");
    let _ = writeln!(text, "knowledge: {{id: {}, version: {}}}", knowledge.id, knowledge.version);
    let usual = knowledge.layouts.iter().find(|(_, l)| l.usual).map_or("", |(ix, _)| knowledge.layouts.id(ix));
    let options =
        knowledge.options.iter().map(|(ix, option)| format!("{}: {}", knowledge.options.id(ix), option.usual));
    let options = options.collect::<Vec<_>>().join(", ");
    let _ = writeln!(text, "craft: {{layout: {usual}, options: {{{options}}}}}");
    let _ = writeln!(text, "user: {}", knowledge.users.ids().next().unwrap_or_default());
    text.push_str("history: {}      # fact: value\n");
    text.push_str("symptoms: []     # what the customer complains of, the first thing that stops them first\n");
    text.push_str("log: []          # what was looked at, done and found since, in order\n");
    choices(knowledge, &mut text);
    text
}

fn choices(knowledge: &Knowledge, text: &mut String) {
    let ids = |list: Vec<&str>| list.join(", ");
    let _ = writeln!(text, "\n# layout: {}", ids(knowledge.layouts.ids().collect()));
    let _ = writeln!(text, "# user: {}", ids(knowledge.users.ids().collect()));
    text.push_str("#\n# symptoms:\n");
    for (ix, symptom) in knowledge.symptoms.iter() {
        let _ = writeln!(text, "#   {}: {}", knowledge.symptoms.id(ix), symptom.title);
    }
    if !knowledge.history.is_empty() {
        text.push_str("#\n# history:\n");
    }
    for (ix, fact) in knowledge.history.iter() {
        let values = ids(fact.values.iter().map(|value| value.id.as_str()).collect());
        let _ = writeln!(text, "#   {} {}\n#     {values}", knowledge.history.id(ix), fact.ask);
    }
    text.push_str("#\n# log:\n");
    if let Some((ix, check)) = knowledge.checks.iter().find(|(_, check)| check.reading.is_none()) {
        let outcome = check.outcomes.first().map_or("", |outcome| outcome.id.as_str());
        let _ = writeln!(text, "#   - {{check: {}, outcome: {outcome}}}", knowledge.checks.id(ix));
    }
    if let Some(id) = knowledge.repairs.ids().next() {
        let _ = writeln!(text, "#   - {{repair: {id}}}");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_becomes_an_id() {
        assert_eq!(id_of("Garden pump, 4 hp"), "garden-pump-4-hp");
        assert_eq!(id_of("  "), "my-craft");
        assert_eq!(quoted("a \"b\": #c"), r#""a \"b\": #c""#);
    }
}
