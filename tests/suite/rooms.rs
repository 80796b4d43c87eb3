//! What a page serves beside one interview: the jobs of a folder, a look ahead, and drills.

use crate::serve::{Client, Page, serving, serving_jobs, to_the_complaint};
use crate::small_engine::knowledge;
use doldrum::serve::Jobs;
use std::fs;
use std::path::Path;

/// Serves the jobs of a new folder.
fn serving_folder(work: impl FnOnce(&Client, &Path)) {
    let folder = tempfile::tempdir().expect("a folder");
    let case = folder.path().join("doldrum-first.yaml");
    let jobs = Jobs::Folder(folder.path().to_owned());
    serving_jobs(&knowledge(), "127.0.0.1:0", jobs, case, |client| work(client, folder.path()));
}

/// To the first question on the bench.
fn to_a_question(client: &Client) -> Page {
    let mut page = to_the_complaint(client);
    page = client.answer(&page, "pick=0");
    page = client.answer(&page, "key=enter");
    for _ in 0..20 {
        if page.links.iter().any(|link| link.contains("/what-if?pick=")) {
            return page;
        }
        let done = match () {
            () if page.has("s") => "key=s",
            // A repair is proposed: look further first.
            () if page.picks.len() == 2 => "pick=1",
            () if page.has("n") => "key=n",
            () => "key=enter",
        };
        page = client.answer(&page, done);
    }
    panic!("no question comes: {page:?}");
}

#[test]
fn the_jobs_of_a_folder_are_begun_and_gone_on_with() {
    serving_folder(|client, folder| {
        let list = client.page_at("/");
        assert!(list.words.contains("no jobs in this folder") && list.links.is_empty(), "{list:?}");
        let begun = client.post_ours("/job", "title=Barn-find+twin&user=technician");
        let home = begun.led_to().expect("it is begun").to_owned();
        assert!(begun.status == 303 && home.starts_with("/job/doldrum-") && home.ends_with("barn-find-twin"), "{home}");
        let again = client.post_ours("/job", "title=Barn-find+twin&user=technician");
        assert_eq!(again.led_to(), Some(format!("{home}-2").as_str()), "another of that name");
        // Nothing is kept before anything is known, and it is in the list all the same.
        assert_eq!(fs::read_dir(folder).expect("the folder").count(), 0);
        let listed = client.page_at("/");
        assert_eq!(listed.links.len(), 2, "{listed:?}");
        assert!(listed.links.contains(&home), "{listed:?}");
        let mut page = client.page_at(&home);
        assert!(page.words.contains("Barn-find twin"), "{page:?}");
        while page.has("t") {
            page = client.answer_at(&home, &page, "key=t");
        }
        page = client.answer_at(&home, &page, "pick=0");
        let file = folder.join(format!("{}.yaml", home.trim_start_matches("/job/")));
        assert!(fs::read_to_string(&file).expect("its file").contains("title: Barn-find twin"), "{page:?}");
        // Two jobs do not know of each other.
        let other = client.page_at(&format!("{home}-2"));
        assert!(other.has("t") || other.title != page.title, "{other:?}");
        let nobody = client.post_ours("/job", "title=x&user=nobody");
        assert_eq!(nobody.status, 400, "{}", nobody.body);
    });
}

#[test]
fn a_name_never_leads_out_of_the_folder() {
    serving_folder(|client, folder| {
        fs::write(folder.join("doldrum-broken.yaml"), "no: case\n").expect("written");
        fs::write(folder.join("other.yaml"), "format: 1\n").expect("written");
        let broken = client.get("/job/doldrum-broken");
        assert!(broken.status == 500 && broken.body.contains("cannot be read"), "{}", broken.body);
        for path in [
            "/job/other",
            "/job/..%2Fdoldrum-broken",
            "/job/%2Fetc%2Fpasswd",
            "/job/..",
            "/job/%00",
            "/job/doldrum-broken.yaml",
            "/job/%ff",
            "/job/",
        ] {
            let response = client.get(path);
            assert_eq!(response.status, 404, "{path}: {}", response.body);
        }
        for title in ["../../etc/passwd", "%00", "a/b", "<b>", &"x".repeat(300)] {
            let begun = client.post_ours("/job", &format!("title={}&user=", title.replace('%', "%25")));
            let home = begun.led_to().unwrap_or_else(|| panic!("{title}: {}", begun.body)).to_owned();
            assert!(!home.contains("..") && home.matches('/').count() == 2, "{home}");
            Page::read(&client.get(&home).body);
        }
        assert_eq!(client.post_ours("/job", &format!("title={}&user=", "x".repeat(500))).status, 400);
    });
}

#[test]
fn a_look_ahead_tells_and_changes_nothing() {
    serving(|client| {
        assert_eq!(client.get(&client.at_job("/what-if?pick=0")).status, 400, "nothing is asked on the bench yet");
        let page = to_a_question(client);
        let before = fs::read_to_string(client.at_file()).expect("the case file");
        let offered: Vec<&String> = page.links.iter().filter(|link| link.contains("/what-if?pick=")).collect();
        assert!(offered.len() >= page.picks.len(), "{page:?}");
        let mut told = Vec::new();
        for link in offered {
            let ahead = client.page_at(link);
            assert!(ahead.title.starts_with("What if:"), "{ahead:?}");
            for words in ["Nothing of this is written down", "Next step", "Rest of the job"] {
                assert!(ahead.words.contains(words), "{words}: {ahead:?}");
            }
            told.push(ahead.words.split_once("written down").expect("it says so").1.to_owned());
        }
        told.dedup();
        assert!(told.len() > 1, "one answer is told apart from another: {told:?}");
        assert_eq!(client.page(), page, "the question stands as it was");
        assert_eq!(fs::read_to_string(client.at_file()).expect("the case file"), before);
        for field in ["pick=99", "pick=x", "text=", "", "pick=0&pick=1", "key=q", "text=%3Cb%3E"] {
            assert_eq!(client.get(&client.at_job(&format!("/what-if?{field}"))).status, 400, "{field}");
        }
    });
}

#[test]
fn the_sheet_can_be_read_at_any_time_and_goes_with_the_job() {
    serving(|client| {
        assert!(client.page_at(&client.at_job("/sheet")).words.contains("the complaint comes first"));
        let mut page = to_a_question(client);
        let sheet = client.page_at(&client.at_job("/sheet"));
        assert!(sheet.title.starts_with("Hand-over sheet") && sheet.words.contains("Look at first"), "{sheet:?}");
        assert_eq!(client.page(), page, "the question stands as it was");
        page = client.answer(&page, "key=g");
        for _ in 0..4 {
            if page.words.contains("Go on with this job") {
                break;
            }
            page = client.answer(&page, "pick=0");
        }
        assert!(page.title.starts_with("Hand-over sheet") && page.words.contains("Go on with this job"), "{page:?}");
        let kept = fs::read_to_string(client.at_file().with_extension("sheet.html")).expect("the sheet");
        assert!(kept.starts_with("<!DOCTYPE html>") && kept.contains("Look at first"));
        assert!(page.words.contains("job.sheet.html"), "{page:?}");
        assert_eq!(client.page(), page, "it says so again");
    });
}

/// Begins a drill.
fn drill(client: &Client, form: &str) -> (String, Page) {
    let begun = client.post_ours("/drill", form);
    let home = begun.led_to().unwrap_or_else(|| panic!("{}", begun.body)).to_owned();
    assert!(begun.status == 303 && home.starts_with("/drill/"), "{home}");
    let page = client.page_at(&home);
    (home, page)
}

/// Goes through a drill by the first of everything until it is over.
fn to_the_debrief(client: &Client, home: &str, mut page: Page) -> Page {
    for _ in 0..400 {
        if page.turn.is_empty() {
            return page;
        }
        let done = match () {
            () if page.title.starts_with("What do you do next") => "pick=1",
            () if page.title.starts_with("What do you see to") => "key=enter",
            () if page.picks.is_empty() => "key=enter",
            () => "pick=0",
        };
        page = client.answer_at(home, &page, done);
    }
    panic!("it does not end: {page:?}");
}

#[test]
fn a_drill_by_forms_comes_to_its_debrief() {
    serving(|client| {
        let choose = client.page_at("/drill");
        assert!(choose.words.contains("How hard?"), "{choose:?}");
        let (home, page) = drill(client, "level=single&seed=3");
        assert!(page.words.contains("single · seed 3"), "{page:?}");
        let choose = client.answer_at(&home, &page, "key=enter");
        let old = client.post_ours(&format!("{home}/step"), &format!("turn={}&pick=0", page.turn));
        assert_eq!(old.status, 409, "{}", old.body);
        assert_eq!(Page::read(&old.body).turn, choose.turn);
        for field in ["pick=99", "key=z", "text=", "pick=0&pick=1"] {
            let response = client.post_ours(&format!("{home}/step"), &format!("turn={}&{field}", choose.turn));
            assert_eq!(response.status, 400, "{field}: {}", response.body);
        }
        let checks = client.answer_at(&home, &choose, "pick=0");
        assert!(checks.writes && checks.picks.len() >= 3, "the whole bench: {checks:?}");
        let back = client.answer_at(&home, &checks, "key=b");
        let debrief = to_the_debrief(client, &home, back);
        assert!(debrief.title.starts_with("Debrief"), "{debrief:?}");
        for words in ["What was behind it", "Step by step", "doldrum drill --level single --seed 3"] {
            assert!(debrief.words.contains(words), "{words}: {debrief:?}");
        }
        assert!(debrief.links.contains(&"/drill".to_owned()), "{debrief:?}");
        // It stands there still, and no step changes it.
        assert_eq!(client.page_at(&home), debrief);
        assert_eq!(client.post_ours(&format!("{home}/step"), "turn=x&key=enter").status, 409);
        assert!(!client.at_file().exists(), "a drill is no job");
    });
}

#[test]
fn the_same_number_is_the_same_drill_and_a_coach_holds_an_arm() {
    serving(|client| {
        let (first, one) = drill(client, "level=single&seed=5");
        let (second, other) = drill(client, "level=single&seed=5&coach=beside");
        assert!(first != second && one.words == other.words, "{one:?} {other:?}");
        let page = client.answer_at(&second, &other, "key=enter");
        let hinted = client.answer_at(&second, &page, "key=%3F");
        assert!(hinted.words.contains("Hint:"), "{hinted:?}");
        let alone = client.answer_at(&first, &one, "key=enter");
        assert!(!alone.has("?"), "nobody is there to ask: {alone:?}");
        let left = client.answer_at(&first, &alone, "key=q");
        assert!(left.words.contains("not scored"), "{left:?}");
    });
}

#[test]
fn a_drill_is_begun_by_our_own_form_and_by_nothing_else() {
    serving(|client| {
        for (headers, form) in [("", "level=single&seed=1"), ("Origin: http://evil.example\r\n", "level=single&seed=1")]
        {
            assert_eq!(client.post_to("/drill", headers, form).status, 403, "{headers}");
            assert_eq!(client.post_to("/job", headers, "title=x&user=").status, 403, "{headers}");
        }
        for form in
            ["", "level=single", "level=easy&seed=1", "level=single&seed=-1", "level=single&seed=1&more=1", "seed=1"]
        {
            let response = client.post_ours("/drill", form);
            assert_eq!(response.status, 400, "{form}: {}", response.body);
        }
        let (home, _) = drill(client, "level=single&seed=1");
        // Another site can lead somebody here, but fetches nothing behind their back.
        let fetched = "Sec-Fetch-Site: cross-site\r\nSec-Fetch-Mode: no-cors\r\n";
        for path in [home.as_str(), "/", &client.home, &client.at_job("/plan"), &client.at_job("/what-if?pick=0")] {
            assert_eq!(client.get_with(path, fetched).status, 403, "{path}");
        }
        let led = "Sec-Fetch-Site: cross-site\r\nSec-Fetch-Mode: navigate\r\n";
        assert_eq!(client.get_with(&client.home, led).status, 200);
        // One job is served here: no other is begun.
        assert_eq!(client.post_ours("/job", "title=x&user=").status, 400);
        assert_eq!(client.get("/job/another").status, 404);
        assert_eq!(client.get("/drill/another").status, 404);
    });
}
