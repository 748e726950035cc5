//! The sample of the demo's output kept under `reports/`: does it still have the shape of what the code writes?
//! (`reports/update --check` runs the demo and compares every value.)

use std::collections::BTreeSet;

use tussock::report;
use tussock::simulate::recipes;

fn kept(name: &str) -> String {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("reports").join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("reports/{name}: {e}; run reports/update"))
}

#[test]
fn the_kept_csv_has_todays_columns_frames_and_verdicts() {
    let text = kept("demo.csv");
    let mut rows = csv::Reader::from_reader(text.as_bytes());
    let empty = report::csv(&report::view(&report::Run::default()));
    let today = csv::Reader::from_reader(empty.as_slice()).headers().unwrap().clone();
    let head = rows.headers().unwrap().clone();
    assert_eq!(head, today, "the columns changed; run reports/update");
    let at = |name: &str| head.iter().position(|h| h == name).unwrap();
    let rows: Vec<csv::StringRecord> = rows.records().map(Result::unwrap).collect();
    let files: BTreeSet<&str> = rows.iter().filter_map(|r| r[at("file")].rsplit('/').next()).collect();
    let shoot = recipes::shoot();
    assert_eq!(files, shoot.iter().map(|r| r.file).collect(), "the shoot changed; run reports/update");
    let words: Vec<String> = tussock::diagnose::Cause::ALL
        .iter()
        .map(|c| serde_json::to_value(c).unwrap().as_str().unwrap().to_owned())
        .collect();
    for row in &rows {
        assert!(words.iter().any(|w| w == &row[at("cause")]) && row[at("sentence")].ends_with('.'), "{row:?}");
    }
}

#[test]
fn the_kept_table_names_every_frame_and_fits_a_terminal() {
    let text = kept("demo-table.txt");
    for recipe in recipes::shoot() {
        assert!(text.contains(recipe.file), "{}; run reports/update", recipe.file);
    }
    assert!(text.lines().take_while(|l| !l.is_empty()).all(|l| l.chars().count() <= 100));
}
