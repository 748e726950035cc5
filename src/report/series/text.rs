//! A series for the terminal.

use super::view::{SeriesGroupView, SeriesView};
use super::{places, words};
use crate::report::say::camera::f_number;
use crate::report::say::number::plain;
use crate::series::Varied;

/// What a person reads on the terminal.
#[must_use]
pub fn series_text(view: &SeriesView) -> String {
    let mut out = String::new();
    for group in &view.groups {
        let what = match group.varied {
            Varied::Aperture => "aperture series",
            Varied::Focus if words::unnumbered(group) => "focus bracket (f-numbers unknown)",
            Varied::Focus => "focus bracket",
            Varied::Nothing => "near-duplicates",
        };
        let first = group.members.first().map_or(String::new(), |f| plain(f));
        out += &format!("{what} of {} frames from {first}\n{}\n", group.members.len(), plain(&group.sentence));
        out += &table(group);
        for note in &group.notes {
            out += &format!("  - {}\n", plain(&note.sentence));
        }
        out.push('\n');
    }
    for alone in &view.alone {
        out += &format!("{}: {}\n", plain(&alone.file), alone.sentence);
    }
    out
}

/// Blur in px by zone (rows) and frame (columns).
fn table(group: &SeriesGroupView) -> String {
    if group.zones.is_empty() {
        return String::new();
    }
    let mut order: Vec<usize> = (0..group.members.len()).collect();
    let stop = |k: usize| {
        let points = group.zones.iter().flat_map(|z| &z.points);
        points.filter(|p| p.file == group.members[k]).find_map(|p| p.f_number)
    };
    order.sort_by(|&a, &b| stop(a).unwrap_or(0.0).total_cmp(&stop(b).unwrap_or(0.0)).then(a.cmp(&b)));
    order.retain(|&k| group.zones.iter().any(|z| z.points.iter().any(|p| p.file == group.members[k])));
    let aperture = group.varied == Varied::Aperture;
    let wide = group.zones.iter().map(|z| places::bare(z.zone).len() + 1).max().unwrap_or(0).max(24);
    let mut out = format!("  {:<wide$}", "blur, px");
    for &k in &order {
        let head = if aperture { stop(k).map_or("?".into(), f_number) } else { format!("#{}", k + 1) };
        out += &format!("{head:>8}");
    }
    out.push('\n');
    for zone in &group.zones {
        out += &format!("  {:<wide$}", places::bare(zone.zone));
        for &k in &order {
            let value = zone.points.iter().find(|p| p.file == group.members[k]).and_then(|p| p.blur_px);
            out += &value.map_or_else(|| format!("{:>8}", "-"), |v| format!("{v:>8.2}"));
        }
        out.push('\n');
    }
    if !aperture {
        for &k in &order {
            out += &format!("  #{} {}\n", k + 1, plain(&group.members[k]));
        }
    }
    out
}
