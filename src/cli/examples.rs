//! Examples for the help of each command; a test sees that each of them is a line that tussock understands.

pub(super) const AUDIT: &str = "\
Examples:
  tussock audit PICTURES/2026-11-moor
  tussock audit --sharp-for print:60x40cm@50cm CARD/DCIM
  tussock audit --near-at 0.3,0.95 --near 0.8m moor-0012.nef
  tussock audit --sidecars --dry-run PICTURES/2026-11-moor
  tussock audit --json --no-page PICTURES/2026-11-moor";
pub(super) const DEMO: &str = "\
Examples:
  tussock demo
  tussock demo --out try-it";
pub(super) const CACHE: &str = "\
Examples:
  tussock cache show
  tussock cache clear --older 90
  tussock cache clear";
pub(super) const EDGE: &str = "\
Examples:
  tussock edge chart.tif --region 1200,800,96,160
  tussock edge chart.tif --region 1200,800,96,160 --json --plot mtf.svg";
pub(super) const PLAN: &str = "\
Examples:
  tussock plan --near 1.2m --focal 24mm
  tussock plan --near 1.2m --focal 24mm --out next-shot.html
  tussock plan --height 1.5m --down 8deg --focal 16mm --crop 1.5
  tussock plan --from moor-0012.nef --near 0.8m";
pub(super) const CARD: &str = "\
Examples:
  tussock card --focal 16,24,35mm --out card.html
  tussock card --focal 24mm --near 0.5,1,2m --text";
pub(super) const LENS: &str = "\
Examples:
  tussock lens learn wall-f2.8.nef wall-f5.6.nef wall-f11.nef
  tussock lens learn --from shoot PICTURES/2026-11-moor
  tussock lens show moor-24mm.toml --out lens.html";
pub(super) const FACTS: &str = "\
Examples:
  tussock facts moor-0012.nef
  tussock facts --json PICTURES/2026-11-moor";
pub(super) const KEEPERS: &str = "\
Examples:
  tussock keepers tussock-report-2026-11-07
  tussock keepers tussock-report-2026-11-07 --best --links kept
  tussock keepers tussock-report-2026-11-07 --of not-sharp,unknown -0
  tussock keepers tussock-report-2026-11-07 --marks keep.json --copy kept
  tussock keepers --undo kept/tussock-undo-1.json";
pub(super) const WATCH: &str = "\
Examples:
  tussock watch PICTURES/tether --bell
  tussock watch CARD/DCIM --all --sharp-for 1:1";
pub(super) const SERIES: &str = "\
Examples:
  tussock series wall-f4.nef wall-f8.nef wall-f11.nef
  tussock series --apertures 4,8,11 a.jpg b.jpg c.jpg --out series
  tussock series --json bracket";
pub(super) const SETTINGS: &str = "\
Examples:
  tussock settings
  tussock settings --json

The file is TOML; every line may be left out:
  sharp-for = \"print:60x40cm@50cm\"
  units = \"imperial\"
  sensor = \"23.5x15.6mm\"
  lenses = [\"lenses/moor-24mm.toml\"]
  theme = \"dark\"
  [sensors]
  \"Tarn One\" = \"23.5x15.6mm\"
Paths in it start from the file's own folder. What is typed goes before it.";
pub(super) const SCHEMA: &str = "\
Examples:
  tussock schema
  tussock schema audit";
pub(super) const LICENCES: &str = "\
Examples:
  tussock licences
  tussock licences --json";
pub(super) const COMPLETIONS: &str = "\
Examples:
  tussock completions bash
  tussock completions zsh
  tussock completions fish";
pub(super) const MAN: &str = "\
Examples:
  tussock man
  tussock man audit
  tussock man --out man/man1";

/// What stands at the end of the whole program's help.
pub(super) const ALL: &str = "\
Exit status:
  0  all that was asked was done
  1  some files failed, were left alone or were not reached; the rest was done
  2  the command was wrong, or nothing could be read; series: no two frames could be compared
  128 and the number of the signal, where a second signal ended it at once

Lengths carry their unit: 1.2m, 4ft, 35mm, 6in, inf. Originals are only ever read.
NO_COLOR is honoured: nothing is then set off by more than words.
Defaults of your own go into a settings file; `tussock settings` says where it is.";
