//! XMP sidecars (ISO 16684-1): verdicts as keywords and numbers, merged into what a sidecar holds already.
//!
//! Everything here turns text into text; finding and writing the files is the rim's. A merge changes the list of keywords
//! (`dc:subject`) and properties of our own namespace and, where asked, the rating: every other byte stays as it is.

mod edit;
mod keywords;
mod merge;
mod words;

pub use edit::Refused;
pub use merge::{Change, Merged, merge, new};
pub use words::wanted;

/// Namespace of our properties.
pub const NAMESPACE: &str = "urn:x-tussock:sharpness:1#";
/// Beginning of the names of our properties, where nothing else is bound to it.
pub(crate) const PREFIX: &str = "tussock";

const RDF: &str = "http://www.w3.org/1999/02/22-rdf-syntax-ns#";
const DC: &str = "http://purl.org/dc/elements/1.1/";
const XMP: &str = "http://ns.adobe.com/xap/1.0/";

/// What a sidecar should say of a frame.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wanted {
    /// Keywords of ours.
    pub keywords: Vec<String>,
    /// Properties of our namespace: name, value.
    pub properties: Vec<(&'static str, String)>,
    /// The rating, 0 to 5 (`xmp:Rating`); `None` leaves whatever is there.
    pub rating: Option<Rating>,
}

/// A rating to give.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rating {
    /// Stars.
    pub stars: u8,
    /// Whether it also replaces a rating that isn't ours.
    pub replaces: bool,
}
