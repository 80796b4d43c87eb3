//! The page in a real browser: the script, the width of a phone, and what the content policy lets through. Run by `.ci/run`,
//! which installs the browser; by hand: `cargo test --test suite browser -- --ignored`.

use crate::chromium::Browser;
use crate::serve::{Client, serving};
use serde_json::Value;
use std::time::Duration;

/// From the first sniff to the complaint, by pressing what a person would. Without the script a browser sends the same
/// forms; `serve` does so.
#[test]
#[ignore = "needs a browser; .ci/run installs one"]
fn the_script_swaps_the_question_in_place() {
    serving(|client| {
        let browser = Browser::start();
        browser.open(&client.link);
        let mut title = browser.title();
        assert!(title.ends_with('?'), "{title}");
        // Whether a page load happened can be seen by what a page load forgets.
        browser.run("window.kept = true");
        while browser.press("button[value=t]") {
            std::thread::sleep(Duration::from_millis(400));
        }
        for _ in 0..6 {
            if title.contains("customer") {
                break;
            }
            assert!(browser.press("button[value=enter]") || browser.press("button[name=pick]"), "{title}");
            title = browser.moved_from(&title);
        }
        assert!(title.contains("customer"), "{title}");
        assert_eq!(browser.run("return window.kept === true"), Value::Bool(true), "a page was loaded");
        // Nothing is wider than the phone, and nothing was refused by the page's own policy.
        let wide = browser.run("return document.documentElement.scrollWidth - window.innerWidth");
        assert!(wide.as_i64().is_some_and(|wide| wide <= 0), "{wide} pixels too wide");
        assert_eq!(browser.complaints(), Vec::<String>::new());
        let color = browser.run("return getComputedStyle(document.querySelector('button')).minHeight");
        assert_ne!(color.as_str(), Some("0px"), "the style sheet was taken");
    });
}

/// The turn that a page shows.
const TURN: &str = "const turn = document.querySelector('input[name=turn]'); return turn && turn.value";

/// From the first question to the end of the job, by what `press` does to what a person would press.
fn to_the_end(browser: &Browser, press: impl Fn(&str) -> bool) {
    let mut picked = false;
    let mut turn = browser.run(TURN);
    for _ in 0..80 {
        let (title, ended) =
            (browser.title(), browser.run("return document.body.textContent.includes('Go on with this job')"));
        if ended == Value::Bool(true) {
            return;
        }
        let complaint = title.contains("customer");
        let wanted: &[&str] = match () {
            () if complaint && !std::mem::replace(&mut picked, true) => &["button[name=pick]"],
            () if complaint || !browser.has("button[value=r]") => {
                &["button[value=t]", "button[value=s]", "button[value=enter]", "button[name=pick]"]
            }
            () => {
                &["button[value=t]", "button[name=pick]", "button[value=n]", "button[value=s]", "button[value=enter]"]
            }
        };
        let button =
            wanted.iter().find(|button| browser.has(button)).unwrap_or_else(|| panic!("nothing to press: {title}"));
        assert!(press(button), "{button} cannot be pressed: {title}");
        turn = browser.changed(TURN, &turn);
        let wide = browser.run("return document.documentElement.scrollWidth - window.innerWidth");
        assert!(wide.as_i64().is_some_and(|wide| wide <= 0), "{title}: {wide} pixels too wide");
    }
    panic!("it does not come to an end: {}", browser.title());
}

/// Reads the work order by its link.
fn read_the_plan(browser: &Browser, client: &Client) {
    browser.open(&client.url(&client.at_job("/plan")));
    assert!(browser.title().starts_with("Work order"), "{}", browser.title());
    let wide = browser.run("return document.documentElement.scrollWidth - window.innerWidth");
    assert!(wide.as_i64().is_some_and(|wide| wide <= 0), "{wide} pixels too wide");
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
#[ignore = "needs a browser; .ci/run installs one"]
fn a_whole_interview_by_the_mouse_on_a_phone() {
    serving(|client| {
        let browser = Browser::start();
        browser.width(390);
        browser.open(&client.link);
        to_the_end(&browser, |button| browser.press(button));
        read_the_plan(&browser, client);
    });
}

#[test]
#[ignore = "needs a browser; .ci/run installs one"]
fn a_whole_interview_by_the_keyboard_at_a_desk() {
    serving(|client| {
        let browser = Browser::start();
        browser.width(1280);
        browser.open(&client.link);
        to_the_end(&browser, |button| browser.reach(button));
        read_the_plan(&browser, client);
    });
}
