//! The page in a real browser: the script, the width of a phone, and what the content policy lets through. Run by `.ci/run`,
//! which installs the browser; by hand: `cargo test --test suite browser -- --ignored`.

use crate::chromium::Browser;
use crate::serve::serving;
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
