//! What the page's own functions must say of the sample shoot, written beside the page for `tests/browser/replay.mjs`,
//! which asks them: limits, words and tiles by the rules of `judge`, worked out here from the diagnoses and not from the view.

use std::fs;
use std::path::Path;

use serde_json::{Value, json};
use tussock::diagnose::ZoneName;
use tussock::judge::{self, Answer, Judgement};
use tussock::quantity::{Estimate, SharpFor};
use tussock::report::{self, Links};

use crate::shoot::shoot;

/// Uses as the page names them, with what they mean.
fn uses() -> [(&'static str, SharpFor); 3] {
    let print = SharpFor::Print { long_m: 0.6, short_m: 0.4, distance_m: 0.5 };
    [("diagonal", SharpFor::Diagonal1500), ("1:1", SharpFor::OneToOne), ("print", print)]
}

/// A number as the view rounds it: the page knows no more of it.
fn known(v: f64) -> f64 {
    format!("{v:.3e}").parse().expect("a number")
}

#[test]
fn expectations_of_the_page_are_written_for_its_replay() {
    let run = shoot(8);
    let page = report::html(&report::view(&run), &vec![Links::default(); run.frames.len()]);
    let frames: Vec<Value> = run.frames.iter().map(of_frame).collect();
    // Words on a grid about the limit, where most of them turn.
    let widths = (1..60).map(|k| 0.05 * f64::from(k));
    let grid: Vec<Value> = widths
        .flat_map(|value| [0.0, 0.02, 0.1, 0.4].map(|sd| (value, sd)))
        .flat_map(|(value, sd)| [(0.53, 0.709), (0.9, 0.709), (0.53, 0.847)].map(|(l, f)| (value, sd, l, f)))
        .filter_map(|(value, sd, limit, finest)| {
            let optical = Estimate::new(value, sd, 1);
            let (above, clearly) =
                (judge::above(optical, limit), judge::above(optical, judge::beyond_px(limit, finest)));
            // The page's error function is good to seven places; what lies nearer to where a word turns has none.
            let near = (above - judge::WITHIN).abs().min((clearly - judge::BEYOND).abs()) < 1e-6;
            (!near)
                .then(|| json!([value, sd, limit, finest, above, Answer::by(optical, limit, finest).judgement.word()]))
        })
        .collect();
    assert!(frames.len() > 4 && grid.len() > 600);
    let words: Vec<&str> = grid.iter().filter_map(|g| g[5].as_str()).collect();
    assert!(["within", "at limit", "beyond"].iter().all(|w| words.contains(w)), "every word is asked for");
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("replay");
    fs::create_dir_all(&folder).expect("a folder for tests");
    fs::write(folder.join("index.html"), page).expect("room for a page");
    let expected = json!({ "frames": frames, "grid": grid }).to_string();
    fs::write(folder.join("expected.json"), expected).expect("room for what is expected");
}

/// What the page must make of one frame, in each use and tile by tile.
fn of_frame(f: &report::Frame) -> Value {
    let (d, map) = (&f.diagnosis, &f.map);
    let zone = |name: ZoneName, limit: f64| {
        let zone = d.zones.iter().find(|z| z.name == name).expect("every zone is there");
        match zone.optical_px {
            Some(e) if zone.answer.judgement != Judgement::Unknown => {
                Answer::by(Estimate::new(known(e.value), known(e.sd), e.n), limit, known(d.finest_px)).judgement
            }
            _ => Judgement::Unknown,
        }
    };
    let of_use = |(name, sharp_for): (&str, SharpFor)| {
        let limit = judge::permitted_px(sharp_for, map.width, map.height);
        let words = ZoneName::JUDGED.map(|name| zone(name, limit));
        let ends = &words[..2];
        let throughout = match () {
            () if ends.contains(&Judgement::Beyond) => Some(false),
            () if ends.iter().all(|w| w.passes()) => Some(true),
            () => None,
        };
        let words = words.map(Judgement::word);
        json!({ "use": name, "permitted": limit, "words": words, "throughout": throughout })
    };
    let tiles: Vec<Value> = map
        .tiles
        .iter()
        .zip(&d.standing)
        .enumerate()
        .map(|(i, (t, standing))| {
            let optical = t.blur.map(judge::optical);
            let zones: Vec<usize> = (0..7)
                .filter(|&k| d.zones.iter().any(|z| z.name == ZoneName::JUDGED[k] && z.tiles.contains(&(i as u32))))
                .collect();
            json!({
                "blur": optical.map(|o| o.value), "sd": optical.map(|o| o.sd), "zones": zones,
                "standing": format!("{standing:?}"), "box": [t.x, t.y, t.width, t.height],
                "diffraction": d.budgets[i].as_ref().and_then(|b| b.diffraction),
            })
        })
        .collect();
    json!({ "file": f.file, "audited": d.permitted_px, "uses": uses().map(of_use), "tiles": tiles })
}
