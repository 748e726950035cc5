//! The simulator against the rest of the program: the same tiles, the same picture conventions.

use tussock::measure::{Settings, measure};
use tussock::simulate::{SceneSpec, landscape};

#[test]
fn the_true_tiles_are_those_that_measuring_cuts() {
    let picture = landscape(&SceneSpec::random(5, 250));
    let map = measure(&picture.plane(), &Settings::default());
    assert_eq!((picture.columns, picture.rows), (map.columns, map.rows));
    for (truth, tile) in picture.tiles.iter().zip(&map.tiles) {
        let r = truth.region;
        assert_eq!((r.x, r.y, r.width, r.height), (tile.x, tile.y, tile.width, tile.height));
    }
}
