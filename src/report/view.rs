//! The one serialisable picture of an audit, versioned; every format reads only this.

use schemars::JsonSchema;
use serde::Serialize;

/// `audit.json`.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct View {
    /// Always `tussock.audit`.
    pub format: &'static str,
    /// Version of this format.
    pub version: u32,
}
