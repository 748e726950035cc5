//! A folder that frames come into: each is judged as soon as it is complete, and the end leaves a report as an audit does.

mod arrivals;

use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use anyhow::{Context as _, bail};

use super::album::Album;
use super::audit::{self, Audit};
use super::frame::{self, Bench};
use super::held::{Done, small_of};
use super::{Outcome, place, raw_worker, stop};
use crate::intake::{self, Candidate, IntakeError, IntakeErrorKind, Prefer};
use crate::output::folder::Folder;
use crate::output::{self, guard::guarded};
use crate::quantity::shown;
use crate::report::{FrameView, Run, WatchView, glance, view, watch_over, watch_page};
use crate::series::{self, Held, Seen as OfScene};
use arrivals::{Arrivals, Signals};

/// The watch command as meant.
#[derive(Clone, Debug)]
pub(crate) struct Watch {
    /// The folder.
    pub folder: PathBuf,
    /// The audit that the end makes, and that each frame is judged as; its paths are those of the frames that came.
    pub audit: Audit,
    /// Judge what is in the folder already, too.
    pub all: bool,
    /// Ring the terminal's bell for a frame that isn't sharp.
    pub bell: bool,
    /// Print a line of JSON a frame.
    pub json: bool,
    /// Look into the folder now and then instead of waiting for the system's word.
    pub poll: bool,
}

/// How often what is there is looked at where nothing is said to have happened.
const ROUND: Duration = Duration::from_secs(1);
/// The same while a file is growing, or where the system says nothing.
const SHORT_ROUND: Duration = Duration::from_millis(150);
/// How long a file that can't be read whole must stay as it is before it counts as damaged: cards and tethers pause.
const PATIENCE: Duration = Duration::from_secs(10);
/// Earlier frames that a new one is compared with, newest first.
const REMEMBERED: usize = 6;
/// Frames on the page.
const LISTED: usize = 12;
/// The page's name in the report's folder.
const PAGE: &str = "live.html";

/// Runs the command until somebody asks to stop.
///
/// # Errors
/// Where the folder can't be read at the start, or the report can't be written.
pub(crate) fn run(asked: &Watch) -> anyhow::Result<Outcome> {
    if !asked.folder.is_dir() {
        bail!("{} is not a folder; name the one that frames come into", shown(&asked.folder));
    }
    stop::listen();
    raw_worker::set_up(asked.audit.wanted.budget);
    let folder = match &asked.audit.out {
        Some(out) => Folder::claim(out, asked.audit.overwrite)?,
        None => place::default_report_folder(&asked.folder)?,
    };
    let memory = audit::memory(&asked.audit);
    let shelf = audit::shelf(&asked.audit)?;
    // Pictures are made for the report at the end, since they take longer than the answer.
    let quick = Audit { page: false, ..asked.audit.clone() };
    let bench = Bench { audit: &quick, memory: &memory, album: Album::new(&quick, &[], &folder), shelf: &shelf };
    let mut field = Field {
        asked,
        bench,
        page: folder.path().join(PAGE),
        earlier: VecDeque::new(),
        last: Vec::new(),
        seen: 0,
        problem: None,
    };
    field.write_page()?;
    output::note(&format!("tussock: watching {}; the page is {}", shown(&asked.folder), shown(&field.page)));
    output::note("tussock: Ctrl-C ends it and writes the report");
    let frames = field.until_stopped();
    let page = field.page.clone();
    drop(field);
    drop(memory);
    finish(asked, folder, &frames, &page)
}

/// Writes the report on what came in.
fn finish(asked: &Watch, folder: Folder, frames: &[PathBuf], page: &Path) -> anyhow::Result<Outcome> {
    // From here on a further request to stop is the audit's own first.
    stop::forget();
    if frames.is_empty() {
        let _ = std::fs::remove_file(page);
        output::note("tussock: no frame came in, so there is no report");
        return Ok(Outcome::Done);
    }
    if asked.json {
        // What is on standard output is for a program, which the table is not.
        output::speak_little();
    }
    output::note("tussock: writing the report; Ctrl-C again leaves out what is not ready");
    let mut audit = asked.audit.clone();
    (audit.wanted.paths, audit.wanted.recursive) = (frames.to_vec(), false);
    let found = audit.wanted.find();
    let done = audit::into(&audit, &found, folder);
    if done.is_ok() {
        output::replace(page, watch_over().as_bytes())?;
    }
    done
}

/// What is known while frames come in.
struct Field<'a> {
    asked: &'a Watch,
    bench: Bench<'a>,
    page: PathBuf,
    earlier: VecDeque<(Done, FrameView)>,
    last: Vec<WatchView>,
    seen: usize,
    problem: Option<String>,
}

impl Field<'_> {
    /// Judges frames as they come; the files that came, in their order.
    fn until_stopped(&mut self) -> Vec<PathBuf> {
        let signals = Signals::listen(&self.asked.folder, self.asked.audit.wanted.recursive, self.asked.poll);
        if !signals.heard() && !self.asked.poll {
            output::say(
                "tussock: the system doesn't tell of new files here, so the folder is looked at again and again",
            );
        }
        let mut arrivals = Arrivals::new(!self.asked.all, &self.list());
        let mut judged: Vec<PathBuf> = Vec::new();
        while !stop::asked() {
            let list = self.list();
            for path in arrivals.ready(&list, Instant::now()) {
                if stop::asked() {
                    break;
                }
                let patient = arrivals.age(&path).is_some_and(|age| age >= PATIENCE);
                if has_twin(&path, &judged) {
                    // One frame in two files: the report pairs them.
                    arrivals.done(&path);
                    judged.push(path);
                } else if self.take(&path, patient) {
                    arrivals.done(&path);
                    if !judged.contains(&path) {
                        judged.push(path);
                    }
                }
            }
            let round = if arrivals.waiting() || !signals.heard() { SHORT_ROUND } else { ROUND };
            signals.wait(round);
        }
        judged
    }

    fn list(&self) -> Vec<PathBuf> {
        let wanted = &self.asked.audit.wanted;
        let (mut files, _) = intake::files(std::slice::from_ref(&self.asked.folder), wanted.recursive);
        // Of files that come together the one that stands for the frame is judged.
        for of_stem in files.chunk_by_mut(|a, b| a.parent() == b.parent() && intake::stem(a) == intake::stem(b)) {
            of_stem.sort_by_key(|file| intake::is_raw(file) != (wanted.prefer == Prefer::Raw));
        }
        files
    }

    /// Judges a file; `false` where it isn't complete and is to be tried again.
    fn take(&mut self, path: &Path, patient: bool) -> bool {
        let candidate = Candidate { path: path.to_owned(), twins: Vec::new() };
        let outcome = guarded(|| frame::one(&candidate, &self.bench));
        let (done, failed) = match outcome {
            Ok(Ok(seen)) => (seen.done, seen.failed),
            Ok(Err(why)) => return self.trouble(&output::in_words(&why)),
            Err(words) => (None, vec![IntakeError::fault(path, "judging it", &words)]),
        };
        // What is damaged may be what is not there yet.
        let perhaps_growing =
            failed.iter().any(|e| matches!(e.kind, IntakeErrorKind::Damaged | IntakeErrorKind::Unreadable));
        if perhaps_growing && !patient {
            return false;
        }
        for error in &failed {
            self.trouble(&output::failed(error));
        }
        if let Some(done) = done {
            match guarded(|| self.tell(done)) {
                Ok(Ok(())) => {}
                Ok(Err(why)) => drop(self.trouble(&output::in_words(&why))),
                Err(words) => drop(self.trouble(&output::failed(&IntakeError::fault(path, "telling of it", &words)))),
            }
        }
        true
    }

    /// Says what is wrong, on the page too.
    fn trouble(&mut self, text: &str) -> bool {
        let text = text.trim_start_matches("tussock: ");
        output::say(&format!("tussock: {text}"));
        self.problem = Some(text.to_owned());
        // A page that can't be written has been complained of once already.
        let _ = self.write_page();
        true
    }

    fn tell(&mut self, mut done: Done) -> anyhow::Result<()> {
        if done.small.is_none() {
            done.small = small_of(&done.path, &self.asked.audit.wanted.overrides);
        }
        let units = self.asked.audit.intent.units;
        let mut all =
            view(&Run { frames: vec![done.frame.clone()], intent: self.asked.audit.intent, ..Run::default() });
        let seen = all.frames.pop().context("a frame has a view")?;
        let told = glance(&seen, units, self.before(&done).map(|(_, view)| view));
        self.last.insert(0, told.clone());
        self.last.truncate(LISTED);
        self.earlier.push_front((done, seen));
        self.earlier.truncate(REMEMBERED);
        self.seen += 1;
        self.problem = None;
        // The page stands before the line does, and the line comes whatever becomes of the page.
        let written = self.write_page();
        if self.asked.json {
            output::print_json(&(serde_json::to_string(&told)? + "\n"));
        } else {
            let name = Path::new(&told.path).file_name().unwrap_or_default().to_string_lossy().into_owned();
            output::print(&format!("\n{name}\n"));
            output::print_large(&told.line);
            if let Some(c) = &told.compared {
                output::print_large(
                    &format!("{} than before", c.line).replace("same near and far than", "same near and far as"),
                );
            }
        }
        if self.asked.bell && told.sharp_throughout == Some(false) {
            output::ring();
        }
        written
    }

    /// The last earlier frame of the same scene.
    fn before(&self, now: &Done) -> Option<&(Done, FrameView)> {
        self.earlier
            .iter()
            .find(|(earlier, _)| series::group(&[of_scene(earlier), of_scene(now)], series::Pauses::Part).len() == 1)
    }

    fn write_page(&self) -> anyhow::Result<()> {
        output::replace(&self.page, watch_page(&self.last, self.seen, self.problem.as_deref()).as_bytes())
    }
}

fn of_scene(done: &Done) -> OfScene<'_> {
    let frame = &done.frame;
    OfScene {
        file: &frame.file,
        size: (frame.map.width, frame.map.height),
        capture: &frame.capture,
        small: done.small.as_ref().map_or(Held::Elsewhere(&(), 0), Held::Here),
        map: Some((&frame.map).into()),
    }
}

/// Whether another file of the same shot was judged.
fn has_twin(path: &Path, judged: &[PathBuf]) -> bool {
    !intake::twins(path, judged).is_empty()
}
