//! `doldrum calc`: figures of published tables and worked examples through the command line, traps that must not come
//! out, and bad input named.

use assert_cmd::Command;

fn calc(arguments: &[&str]) -> (i32, String, String) {
    let mut command = Command::cargo_bin("doldrum").expect("the program is built");
    let output = command.env("NO_COLOR", "1").arg("calc").args(arguments).output().expect("ran");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
    (output.status.code().expect("an exit code"), text(output.stdout), text(output.stderr))
}

#[test]
fn figures_come_out_in_both_systems() {
    let cases: &[(&[&str], &[&str])] = &[
        (&["opening", "--seat", "2.0mm", "--spring", "95 g", "--arms", "0.60"], &["25.8 psi (178 kPa)"]),
        (&["opening", "--seat", "2mm", "--spring", "95g", "--arms", ".6", "--other-seat", "2.3mm"], &["19.5 psi"]),
        (
            &["opening", "--seat", "2.0mm", "--spring", "80g", "--measured", "24psi", "--target", "28psi"],
            &["0.663", "3.29 ozf (93.3 gf)"],
        ),
        (&["compression", "112psi", "--altitude", "1500m"], &["134 psi (925 kPa)"]),
        (&["compression", "132psi", "116psi"], &["12.1 %", "look for the reason"]),
        (&["leak", "--volume", "900mL", "--loss", "3psi/min"], &["184 mL/min", "20.4 % a minute"]),
        (&["leak", "--volume", "500mL", "--loss", "1psi/min", "--at", "6psi"], &["34 mL/min", "Above 5 psi"]),
        (&["battery", "--rest", "12.24V"], &["Charge   50 %"]),
        (&["battery", "--temperature", "-18C", "--loaded", "8.4V"], &["-0.4 °F (-18 °C)", "8.5 V", "fails"]),
        (&["jet", "--from", "1.10mm", "--altitude", "1500m"], &["7.6 % richer", "x 0.929", "1.06 mm"]),
        (&["jet", "--from", "1.06mm", "--right-at", "1500m", "--altitude", "0m"], &["7.06 % leaner", "BEFORE"]),
        (&["jet", "--from", "1.10mm", "--to", "1.15mm"], &["+9.3 %"]),
        (&["oil", "--fuel", "1 gal", "--ratio", "40"], &["3.2 fl oz (94.64 mL)"]),
        (&["oil", "--fuel", "8L", "--ratio", "40", "--now", "50:1"], &["Add oil", "(40 mL)"]),
        (&["oil", "--fuel", "10L", "--ratio", "50", "--now", "20", "--units", "metric"], &["15 L (3.96 US gal)"]),
        (&["vapor", "--space", "100L", "--units", "metric"], &["5.7 mL"]),
        (&["turns", "1 3/8", "--richer", "8%"], &["1 3/8 turns", "1 5/8 turns"]),
        (&["convert", "590kPa", "--to", "psi"], &["85.5723 psi"]),
        (&["convert", "25 N m", "--to", "lbf ft"], &["18.4391 lbf ft"]),
        // A first start is richer than what it is set to, not than what it was set to.
        (&["turns", "1 3/8", "--richer", "10"], &["1 3/4 turns", "2 turns"]),
        (&["turns", "1 3/8", "--richer", "-8"], &["1 1/8 turns", "an eighth at a time"]),
        (&["convert", "34kPa"], &["4.93"]),
        (&["convert", "-40 C"], &["F"]),
        // 3.8 teaspoons a gallon of water in E10 are half a percent, not a twentieth of one.
        (&["convert", "3.8 tsp", "--to", "mL"], &["18.7299 mL"]),
    ];
    for (arguments, expected) in cases {
        let (code, shown, trouble) = calc(arguments);
        assert_eq!(code, 0, "{arguments:?}: {trouble}");
        for words in *expected {
            assert!(shown.contains(words), "{arguments:?}: no `{words}` in\n{shown}");
        }
        assert!(shown.contains("Source: "), "{shown}");
    }
}

/// What copied tables and pages print, and no formula gives.
#[test]
fn the_traps_of_copied_tables_do_not_come_out() {
    for (arguments, never) in [
        (&["oil", "--fuel", "1 gal", "--ratio", "40"][..], "3.5 fl oz"),
        (&["convert", "590kPa", "--to", "psi"], "84"),
        (&["jet", "--from", "1.0mm", "--altitude", "1000ft"], "0.97 mm"),
        (&["battery", "--rest", "12.30V"], "Charge   50 %"),
        (&["compression", "12.682psi", "--altitude", "4000ft"], "14.696"),
        // At sea level a reading is what it is, however warm the day.
        (&["compression", "108psi", "--altitude", "0m"], "117"),
        // At three quarters of the density the same jet is 15.5 % richer, not 12.
        (&["jet", "--from", "1.0mm", "--altitude", "2880m"], "12 % richer"),
        (&["jet", "--from", "1.0mm", "--altitude", "2880m"], "12.0 % richer"),
        // The lower limit is the safety number: 1.4 %, not the upper 7.6 (five times the fuel).
        (&["vapor", "--space", "100L", "--units", "metric"], "31 mL"),
    ] {
        let (code, shown, trouble) = calc(arguments);
        assert_eq!(code, 0, "{trouble}");
        assert!(!shown.contains(never), "{arguments:?}: `{never}` in\n{shown}");
    }
}

/// One craft's reference is another's wear limit: there is no figure that passes everywhere.
#[test]
fn no_compression_passes_by_itself() {
    for reading in ["84psi", "92psi", "150psi"] {
        let (_, shown, _) = calc(&["compression", reading]);
        for verdict in ["pass", "fail", "good", "worn", "condemn"] {
            assert!(!shown.to_lowercase().contains(verdict), "{shown}");
        }
        assert!(shown.contains("The craft's own figure decides"), "{shown}");
    }
}

#[test]
fn figures_for_programs_carry_unit_and_source() {
    let json = |arguments: &[&str]| -> serde_json::Value {
        let (code, shown, trouble) = calc(arguments);
        assert_eq!(code, 0, "{trouble}");
        serde_json::from_str(&shown).expect("JSON")
    };
    let sheet = json(&["opening", "--seat", "2.0mm", "--spring", "95g", "--arms", "0.60", "--format", "json"]);
    assert_eq!(sheet["figures"][0]["name"], "Opens at");
    assert_eq!(sheet["figures"][0]["unit"], "kPa");
    assert_eq!(sheet["figures"][0]["says"], "25.8 psi (178 kPa)");
    let kpa = sheet["figures"][0]["value"].as_f64().expect("a number");
    // Force times ratio of arms over the area of the seat.
    let by_hand = 0.095 * 9.806_65 * 0.60 / (std::f64::consts::PI * 0.001 * 0.001) / 1e3;
    assert!((kpa - by_hand).abs() < 1e-9, "{kpa} {by_hand}");
    assert!(sheet["source"].as_str().is_some_and(|source| source.contains("moments about the lever")));
    let table = json(&["oil", "--fuel", "1L", "--ratio", "50", "--table", "--format", "json"]);
    assert_eq!(table["table"]["columns"], serde_json::json!(["Ratio", "Oil"]));
    for arguments in [
        &["compression", "132psi", "116psi"][..],
        &["leak", "--volume", "900mL", "--loss", "3psi/min"],
        &["battery", "--rest", "12.24V"],
        &["jet", "--from", "1.10mm", "--altitude", "1500m"],
        &["vapor", "--space", "100L"],
        &["turns", "1 3/8", "--richer", "8%"],
        &["convert", "590kPa"],
    ] {
        let sheet = json(&[arguments, &["--format", "json"]].concat());
        let figures = sheet["figures"].as_array().expect("figures");
        assert!(!figures.is_empty() && figures.iter().all(|figure| figure["value"].is_number()), "{arguments:?}");
    }
}

#[test]
fn bad_input_is_named_with_what_was_expected() {
    for (arguments, said) in [
        (&["oil", "--fuel", "5psi", "--ratio", "40"][..], "expected a unit of volume"),
        (&["oil", "--fuel", "5L", "--ratio", "forty"], "expected a ratio such as 50, found `forty`"),
        (&["oil", "--fuel", "5L", "--ratio", "0"], "from 5 to 1000, found `0`"),
        (&["oil", "--fuel", "5", "--ratio", "40"], "expected"),
        (&["opening", "--seat", "0mm"], "expected 0.5 mm to 6 mm, found `0mm`"),
        (&["opening", "--seat", "2,0mm"], "expected a decimal point"),
        (&["opening", "--seat", "2mm", "--measured", "24psi"], "--spring"),
        (&["vapor", "--space", "-3L"], "expected 0.1 L to 1000000 L, found `-3L`"),
        (&["vapor", "--space", "nanL"], "found `nanL`"),
        (&["compression", "112psi", "--altitude", "1500"], "expected a unit after `1500`, one of mm, m, in, ft"),
        (&["jet", "--from", "1.1mm", "--altitude", "20000m"], "expected -500 m to 6000 m"),
        (&["battery"], "--rest"),
        (&["convert", "12F", "--to", "psi"], "expected a unit of temperature (C, F), found `psi`"),
        (&["convert", "12 furlongs"], "furlongs"),
        (&["turns", "11"], "expected 0 turns to 10 turns"),
        (&["turns", "1 3/8", "--richer", "40"], "Too far for a screw"),
        (&["turns", "1/2", "--richer", "-12"], "Too far for a screw"),
        (&["compression", "108psi", "--air", "40C"], "--air"),
        (&["convert", "1 MV"], "unit `MV` is not known"),
        (&["convert", "1e308 bar"], "expected a number of less than 1e15"),
        (&["convert", "1e14 bar", "--to", "mmHg"], "expected less than 1e15 mmHg"),
        (&["leak", "--volume", "900mL", "--loss", "3psi"], "pressure-rate"),
    ] {
        let (code, shown, trouble) = calc(arguments);
        assert_eq!((code, shown.as_str()), (2, ""), "{arguments:?}");
        assert!(trouble.contains(said), "{arguments:?}: no `{said}` in\n{trouble}");
    }
}

#[test]
fn every_subject_but_units_has_a_table() {
    for (arguments, cells) in [
        (&["opening", "--seat", "2mm", "--arms", "0.60", "--table"][..], &["71.7", "15.9"][..]),
        (&["compression", "138psi", "--table"], &["122 psi", "95.5 psi"]),
        (&["leak", "--volume", "300mL", "--loss", "1psi/min", "--table"], &["20.4 mL/min"]),
        (&["battery", "--table"], &["12.65 V", "11.89 V"]),
        (&["battery", "--temperature", "20C", "--table"], &["8.5 V"]),
        (&["jet", "--from", "1.10mm", "--table"], &["13.1 %", "1.06 mm"]),
        (&["oil", "--fuel", "1L", "--ratio", "50", "--table"], &["(62.5 mL)", "(20 mL)"]),
        (&["vapor", "--space", "50L", "--table"], &["(2.9 mL)", "(11 mL)"]),
        (&["turns", "1", "--table"], &["3/4 turn", "1 3/8 turns"]),
    ] {
        let (code, shown, trouble) = calc(arguments);
        assert_eq!(code, 0, "{arguments:?}: {trouble}");
        for cell in cells {
            assert!(shown.contains(cell), "{arguments:?}: no `{cell}` in\n{shown}");
        }
        assert!(shown.lines().all(|line| line.chars().count() <= 100));
    }
}
