//! The files of an audit's report, written frame by frame: what is large of a frame is in memory only while it is written.

use std::io::{self, Seek as _, SeekFrom, Write as _};
use std::path::Path;

use anyhow::Context as _;
use rayon::prelude::*;

use super::asked::Audit;
use super::frame_store::Shoot;
use super::frames::failure;
use crate::intake::IntakeError;
use crate::output::folder::Folder;
use crate::output::guard::guarded;
use crate::report::{self, FrameView, Links, Run, View};

/// How many frames are made ready beside each other.
const PART: usize = 32;

/// One frame's share of the report.
struct Share {
    view: FrameView,
    line: Vec<u8>,
    companion: Option<(String, Vec<u8>)>,
}

/// Writes the report and hands back its view, whose frames have no tiles where the shoot is a large one.
///
/// # Errors
/// Where the folder can't be written, or a frame can't be had back.
pub(super) fn write(audit: &Audit, run: &Run, shoot: &Shoot<'_>, folder: &Folder) -> anyhow::Result<View> {
    let count = shoot.frames.len();
    let large = !report::inline(count);
    let bases = report::bases(&run.baselines, count);
    let share = |k: usize| -> anyhow::Result<Share> {
        let frame = shoot.frame(k).with_context(|| format!("cannot read back what was found of frame {}", k + 1))?;
        let mut view = report::told(&frame, k, bases[k], run);
        view.original = shoot.frames[k].original.clone();
        view.twins = shoot.frames[k].twins.clone();
        let line = report::frame_line(k, &view);
        let companion = (audit.page && large).then(|| report::companion(k, &view));
        if large {
            view.tiles = Vec::new();
        }
        Ok(Share { view, line, companion })
    };
    let cannot = "cannot write the frames of the report";
    let mut lines = io::BufWriter::new(folder.scratch().context(cannot)?);
    let mut views = Vec::with_capacity(count);
    let mut beside = Vec::<(String, Vec<u8>)>::new();
    for start in (0..count).step_by(PART) {
        let part: Vec<anyhow::Result<Share>> = (start..count.min(start + PART)).into_par_iter().map(share).collect();
        for share in part {
            let Share { view, line, companion } = share?;
            lines.write_all(&line).context(cannot)?;
            if let Some((file, bytes)) = companion {
                match beside.last_mut() {
                    Some((same, all)) if *same == file => all.extend(bytes),
                    _ => beside.push((file, bytes)),
                }
            }
            views.push(view);
        }
        // The last may go on with the next frames.
        let whole = if views.len() < count { beside.len().saturating_sub(1) } else { beside.len() };
        for (file, bytes) in beside.drain(..whole) {
            folder.put(&file, &bytes)?;
        }
    }
    let mut lines = lines.into_inner().map_err(|e| e.into_error()).context(cannot)?;
    let view = report::assembled(views, run);
    folder.put_with("audit.json", &mut |out| {
        report::write_json_with(&view, out, &mut |out| {
            lines.seek(SeekFrom::Start(0))?;
            io::copy(&mut lines, out).map(|_| ())
        })
    })?;
    folder.put_with("audit.csv", &mut |out| report::write_csv(&view, out))?;
    if audit.page {
        let links: Vec<Links> = shoot.frames.iter().map(|f| f.links.clone()).collect();
        let page = report::themed(report::html(&view, &links), audit.theme);
        for (file, bytes) in report::parts(&view, &links) {
            folder.put(&file, &bytes)?;
        }
        folder.put("index.html", page.as_bytes())?;
    }
    Ok(view)
}

/// Makes failures of the frames that can't be written; what refers to frames by their number is given up.
pub(super) fn leave_out_what_breaks(run: &mut Run, shoot: &mut Shoot<'_>, words: &str) {
    run.groups.clear();
    run.baselines.clear();
    run.lenses.clear();
    shoot.frames.iter_mut().for_each(|f| f.group = None);
    let whole = |k: usize| {
        guarded(|| {
            let frame = shoot.frame(k)?;
            let alone = Run { frames: vec![frame], intent: run.intent, ..Run::default() };
            let view = report::view(&alone);
            let page = report::html(&view, std::slice::from_ref(&shoot.frames[k].links));
            Some((report::json(&view), report::csv(&view), page, report::companion(0, &view.frames[0])))
        })
        .is_ok_and(|made| made.is_some())
    };
    let sound: Vec<bool> = (0..shoot.frames.len()).map(whole).collect();
    let mut sound = sound.into_iter();
    shoot.frames.retain(|f| {
        let keep = sound.next().unwrap_or(false);
        if !keep {
            let error = IntakeError::fault(Path::new(&f.file), "writing the report on it", words);
            // Said with the others, below the table.
            run.failures.push(failure(&error));
        }
        keep
    });
}
