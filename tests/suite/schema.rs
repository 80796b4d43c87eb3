//! The schemas against real files and real output, by a validator that is not ours.

use crate::knowledge_files::folder;
use crate::small_engine;
use assert_cmd::Command;
use doldrum::knowledge::load;
use doldrum::schema;
use jsonschema::Validator;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_owned()
}

fn validator(schema: &str) -> Validator {
    let schema: Value = serde_json::from_str(schema).expect("a schema is JSON");
    assert!(jsonschema::draft7::meta::is_valid(&schema), "a schema is a schema of draft 07");
    jsonschema::draft7::new(&schema).expect("a schema of draft 07")
}

/// What is wrong with a value; empty: nothing.
fn wrong(validator: &Validator, value: &Value) -> Vec<String> {
    validator.iter_errors(value).map(|error| format!("{}: {error}", error.instance_path())).collect()
}

/// A YAML file as the language server of an editor sees it; nothing where it is no YAML or says nothing.
fn yaml(bytes: &[u8]) -> Option<Value> {
    // As in YAML 1.2: `no` is a word.
    let options = serde_yaml::options! { strict_booleans: true };
    let value: Value = serde_yaml::from_str_with_options(std::str::from_utf8(bytes).ok()?, options).ok()?;
    (!value.is_null()).then_some(value)
}

/// `causes` for `causes/fuel.yaml` and for `causes.yaml`.
fn kind(name: &str) -> &str {
    let word = name.split('/').next().unwrap_or_default();
    word.strip_suffix(".yaml").unwrap_or(word)
}

#[test]
fn the_committed_schemas_are_current() {
    let place = root().join("docs/schema");
    let files = schema::files();
    for (name, text) in &files {
        let committed = fs::read_to_string(place.join(name)).unwrap_or_default();
        assert!(committed == *text, "docs/schema/{name} is not current: cargo run -- schema --folder docs/schema");
        validator(text);
    }
    let names: Vec<&str> = files.iter().map(|(name, _)| name.as_str()).collect();
    for (name, _) in folder(&place) {
        assert!(names.contains(&name.as_str()), "docs/schema/{name} is a schema of nothing");
    }
}

#[test]
fn real_knowledge_fits() {
    let any = validator(&schema::knowledge());
    let mut kinds = 0;
    for base in ["knowledge/watercraft", "tests/small-engine", "tests/knowledge_good/small"] {
        for (name, bytes) in folder(&root().join(base)) {
            let Some(value) = yaml(&bytes) else { continue };
            let own = validator(&schema::knowledge_file(kind(&name)).expect("a kind of file"));
            assert_eq!(wrong(&own, &value), Vec::<String>::new(), "{base}/{name}");
            assert!(any.is_valid(&value), "{base}/{name}");
            kinds += 1;
        }
    }
    assert!(kinds > 40, "only {kinds} files");
}

#[test]
fn what_vet_refuses_for_its_shape_is_refused() {
    let mut refused = 0;
    for (name, bytes) in folder(&root().join("tests/knowledge_bad")) {
        let text = String::from_utf8_lossy(&bytes).into_owned();
        // An unknown key, a missing one, a word that is not a choice: what a schema can know.
        let shape = ["k003-unknown-key", "k003-deep", "k004-", "k005-unknown-word", "k005-map-for", "k005-list-for"];
        let Some(as_file) = text.lines().find_map(|line| line.strip_prefix("# as: ")) else { continue };
        if !shape.iter().any(|start| name.starts_with(start)) {
            continue;
        }
        let value = yaml(&bytes).expect("it is YAML");
        let own = validator(&schema::knowledge_file(kind(as_file.trim())).expect("a kind of file"));
        assert!(!own.is_valid(&value), "{name} fits the schema");
        refused += 1;
    }
    assert!(refused >= 5, "only {refused} bad files");
}

#[test]
fn real_cases_fit_and_broken_ones_do_not() {
    let case = validator(&schema::case());
    let mut good = 0;
    for (name, bytes) in folder(&root().join("tests/cases")) {
        if name != "expected.yaml" {
            assert_eq!(wrong(&case, &yaml(&bytes).expect("YAML")), Vec::<String>::new(), "{name}");
            good += 1;
        }
    }
    assert!(good >= 8, "only {good} cases");
    let head = "format: 1\nknowledge: {id: watercraft-two-stroke}\n";
    assert!(case.is_valid(&yaml(head.as_bytes()).expect("YAML")));
    for bad in [
        "symptom: [sy-no-crank]",
        "log: [{outcome: dry}]",
        "log: [{check: ck-smell-hull, tick: leads-on-posts}]",
        "log: [{access: ac-plugs-out, now: ajar}]",
        "history: [cx-hose-type]",
        "altitude: [350]",
    ] {
        assert!(!case.is_valid(&yaml(format!("{head}{bad}\n").as_bytes()).expect("YAML")), "{bad}");
    }
    assert!(!case.is_valid(&yaml(b"format: 1\n").expect("YAML")), "a case names its knowledge base");
}

/// What a command prints for a case, as JSON.
fn printed(arguments: &[&str]) -> Value {
    let output = Command::cargo_bin("doldrum").expect("it is built").args(arguments).arg("-q").output().expect("ran");
    serde_json::from_slice(&output.stdout).expect("JSON")
}

#[test]
fn what_is_printed_fits() {
    let (assess, plan) = (validator(&schema::assess()), validator(&schema::plan()));
    let calc = validator(&schema::calc());
    let sheet = printed(&["calc", "jet", "--from", "1.10mm", "--altitude", "1500m", "--table", "--format", "json"]);
    assert_eq!(wrong(&calc, &sheet), Vec::<String>::new());
    let small = small_engine::folder();
    let case = root().join("tests/cases");
    let place = tempfile::tempdir().expect("a folder");
    let shut = place.path().join("case.yaml");
    let text = "format: 1\nknowledge: {id: small-engine}\nsymptoms: [sy-no-start]\nlog:\n  - {check: ck-smell, outcome: none}\n  \
                - {repair: rm-screens}\n";
    fs::write(&shut, text).expect("written");
    for (path, base) in [
        (case.join("w01.yaml"), None),
        (case.join("w06.yaml"), None),
        (case.join("w08.yaml"), None),
        (shut, Some(&small)),
    ] {
        let path = path.to_str().expect("a name in UTF-8");
        for (verb, schema) in [("assess", &assess), ("plan", &plan)] {
            let mut arguments = vec![verb, path, "--format", "json"];
            if let Some(base) = base {
                if verb == "plan" {
                    arguments.extend(["--cause", "screen-clogged"]);
                }
                arguments.extend(["--knowledge", base.to_str().expect("a name in UTF-8")]);
            }
            let value = printed(&arguments);
            assert_eq!(wrong(schema, &value), Vec::<String>::new(), "{verb} {path}");
            // What is printed under no name that the schema knows would be a key that nobody is told of.
            let known = serde_json::to_value(schema_keys(verb)).expect("names");
            for key in value.as_object().expect("a map").keys() {
                assert!(known.as_array().expect("a list").contains(&Value::from(key.as_str())), "{verb} prints {key}");
            }
        }
    }
}

/// The fault tree and its sets, where there are counts, several places, answers, and where a set is not weighed.
#[test]
fn a_printed_fault_tree_fits() {
    let chart = validator(&schema::chart());
    let small = small_engine::folder();
    let small = small.to_str().expect("a name in UTF-8");
    let case = root().join("tests/cases/w08.yaml");
    for arguments in [
        vec!["chart", "sy-no-start", "--order", "3", "--knowledge", small],
        vec!["chart", "sy-no-crank", "--most", "20"],
        vec!["chart", "--case", case.to_str().expect("a name in UTF-8")],
    ] {
        let value = printed(&[arguments.as_slice(), &["--format", "json"]].concat());
        assert_eq!(wrong(&chart, &value), Vec::<String>::new(), "{arguments:?}");
        assert!(!chart.is_valid(&without(value, "importance")), "every key is asked for");
    }
}

/// What was found, with figures and without, in a base that can be used and in one that cannot.
#[test]
fn printed_findings_fit() {
    let vet = validator(&schema::vet());
    let small = small_engine::folder();
    let broken = tempfile::tempdir().expect("a folder");
    for (name, text) in [("craft.yaml", "format: 1\n"), ("causes.yaml", "- {id: A, rate: many}\n")] {
        fs::write(broken.path().join(name), text).expect("written");
    }
    let [small, broken] = [small.as_path(), broken.path()].map(|path| path.to_str().expect("a name in UTF-8"));
    for arguments in [vec!["vet", small], vec!["vet", small, "--testability"], vec!["vet", broken]] {
        let value = printed(&[arguments.as_slice(), &["--format", "json"]].concat());
        assert_eq!(wrong(&vet, &value), Vec::<String>::new(), "{arguments:?}");
        let found = value.as_array().or_else(|| value["findings"].as_array()).expect("a list");
        assert!(!found.is_empty(), "{arguments:?} finds nothing");
        assert!(!vet.is_valid(&Value::Array(vec![without(found[0].clone(), "message")])), "every key is asked for");
    }
}

fn without(mut value: Value, key: &str) -> Value {
    value.as_object_mut().and_then(|map| map.remove(key)).expect("it has this key");
    value
}

/// The keys that a schema knows at the top.
fn schema_keys(verb: &str) -> Vec<String> {
    let text = if verb == "plan" { schema::plan() } else { schema::assess() };
    let schema: Value = serde_json::from_str(&text).expect("JSON");
    let reference = schema["allOf"][0]["$ref"].as_str().expect("a reference").trim_start_matches('#').to_owned();
    let top = schema.pointer(&reference).expect("it leads somewhere");
    top["properties"].as_object().expect("keys").keys().cloned().collect()
}

#[test]
fn every_kind_of_file_has_its_schema() {
    for kind in load::kinds() {
        assert!(schema::files().iter().any(|(name, _)| *name == format!("knowledge/{kind}.json")), "{kind}");
    }
    assert!(schema::knowledge_file("cause").is_none());
}
