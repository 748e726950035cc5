//! Catalogue: one test raw for each layout and compression that is written here.

use super::directory::{Order, Values};
use super::lossless::Lossless;
use super::negative::{Coding, Cut, Meaning, Negative};

/// Width and height of the test raws, px; neither is a multiple of the tiles.
const SIZE: (usize, usize) = (150, 106);

/// Name and content of every test raw.
#[must_use]
pub fn every() -> Vec<(String, Negative)> {
    let mut all = Vec::new();
    bits(&mut all);
    cuts(&mut all);
    lossless(&mut all);
    deflate(&mut all);
    orders(&mut all);
    levels(&mut all);
    all
}

type List = Vec<(String, Negative)>;

fn mosaic(bits: usize) -> Negative {
    Negative::mosaic(SIZE.0, SIZE.1, bits)
}

fn linear(bits: usize) -> Negative {
    Negative::linear(SIZE.0, SIZE.1, bits)
}

fn add(list: &mut List, name: impl Into<String>, negative: Negative) {
    list.push((name.into(), negative));
}

const BOTH: [(Order, &str); 2] = [(Order::Little, "little"), (Order::Big, "big")];

fn bits(list: &mut List) {
    for (order, name) in BOTH {
        for bits in [8, 10, 12, 14, 16, 24, 32] {
            add(list, format!("plain-{bits}-{name}"), Negative { order, ..mosaic(bits) });
        }
        for bits in [16, 24, 32] {
            add(list, format!("float-{bits}-{name}"), Negative { order, ..mosaic(16).floating(bits) });
        }
        add(list, format!("linear-16-{name}"), Negative { order, ..linear(16) });
        add(list, format!("linear-float-32-{name}"), Negative { order, ..linear(16).floating(32) });
    }
}

fn cuts(list: &mut List) {
    for (name, cut) in [("strips", Cut::Strips(18)), ("tiles", Cut::Tiles(64, 48))] {
        for bits in [12, 16] {
            add(list, format!("{name}-{bits}"), Negative { cut, ..mosaic(bits) });
        }
        add(list, format!("{name}-linear"), Negative { cut, ..linear(16) });
        add(list, format!("{name}-planar"), Negative { cut, planar: true, ..linear(16) });
    }
}

fn lossless(list: &mut List) {
    for predictor in 1..=7 {
        let coding = Coding::Lossless(Lossless { components: 2, predictor, restart_rows: 0 });
        let cut = Cut::Tiles(64, 48);
        add(list, format!("lossless-predictor-{predictor}"), Negative { coding, cut, ..mosaic(14) });
    }
    let how = |components, restart_rows| Coding::Lossless(Lossless { components, predictor: 1, restart_rows });
    for bits in [8, 10, 12, 16] {
        let cut = Cut::Tiles(64, 48);
        add(list, format!("lossless-{bits}"), Negative { coding: how(2, 0), cut, ..mosaic(bits) });
    }
    add(list, "lossless-strip", Negative { coding: how(1, 0), ..mosaic(16) });
    add(list, "lossless-restart", Negative { coding: how(2, 5), ..mosaic(14) });
    add(list, "lossless-big", Negative { coding: how(2, 0), order: Order::Big, ..mosaic(14) });
    let colour = Negative { coding: how(3, 0), cut: Cut::Tiles(64, 48), ..linear(16) };
    add(list, "lossless-linear", colour);
}

fn deflate(list: &mut List) {
    let cut = Cut::Tiles(64, 48);
    for (order, name) in BOTH {
        for bits in [8, 16, 32] {
            for predictor in [1, 2, 34_892, 34_893] {
                let coding = Coding::Deflate(predictor);
                let title = format!("deflate-{bits}-{predictor}-{name}");
                add(list, title, Negative { coding, cut, order, ..mosaic(bits) });
            }
        }
    }
    for bits in [16, 24, 32] {
        for predictor in [1, 3, 34_894, 34_895] {
            let coding = Coding::Deflate(predictor);
            let title = format!("deflate-float-{bits}-{predictor}");
            add(list, title, Negative { coding, cut, ..mosaic(16).floating(bits) });
        }
        let coding = Coding::Deflate(3);
        let title = format!("deflate-float-{bits}-linear");
        add(list, title, Negative { coding, cut, ..linear(16).floating(bits) });
    }
    add(list, "deflate-linear", Negative { coding: Coding::Deflate(2), cut, ..linear(16) });
}

fn orders(list: &mut List) {
    add(list, "fields-2-2", Negative { fields: (2, 2), ..mosaic(16) });
    add(list, "fields-2-1-tiles", Negative { fields: (2, 1), cut: Cut::Tiles(64, 48), ..mosaic(16) });
    add(list, "fields-3-2", Negative { fields: (3, 2), ..mosaic(16) });
    add(list, "blocks", Negative { block: (4, 8), cut: Cut::Tiles(64, 48), ..mosaic(16) });
}

fn levels(list: &mut List) {
    let table: Vec<u16> = (0..1024_u32).map(|i| (i * i / 17) as u16).collect();
    let tags = vec![(50_712, Values::Shorts(table))];
    add(list, "table", Negative { tags, ..mosaic(10) });
    // Fewer entries than codes: the last one stands for all above.
    let tags = vec![(50_712, Values::Shorts((0..200).map(|i| 300 * i).collect()))];
    add(list, "table-short", Negative { tags, ..mosaic(8) });
    let rows = ["GBGGRG", "RGRBGB", "GBGGRG", "GRGGBG", "BGBRGR", "GRGGBG"];
    let six = rows
        .concat()
        .bytes()
        .map(|c| match c {
            b'R' => 0,
            b'G' => 1,
            _ => 2,
        })
        .collect();
    add(list, "six-by-six", Negative { meaning: Meaning::Mosaic(6, six), ..mosaic(14) });
    let mut grey = mosaic(12);
    grey.meaning = Meaning::Linear;
    add(list, "grey", grey);
}
