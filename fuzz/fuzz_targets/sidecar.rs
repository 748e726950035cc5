//! Any bytes as a sidecar that something is merged into: what comes out is whole, or it is left alone.
#![no_main]

use libfuzzer_sys::fuzz_target;
use tussock::sidecar::{Merged, Rating, Wanted, merge};

fuzz_target!(|data: &[u8]| {
    let wanted = Wanted {
        keywords: vec!["not-sharp-throughout".into(), "focus-too-far".into()],
        properties: vec![("near", "beyond".into()), ("sentence", "a < b & \"c\"".into())],
        rating: Some(Rating { stars: 1, replaces: true }),
    };
    if let Ok(Merged::Changed { bytes, .. }) = merge(data, &wanted) {
        assert!(matches!(merge(&bytes, &wanted), Ok(Merged::Same { .. })));
    }
});
