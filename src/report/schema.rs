//! The published schemas of what is reported.

use schemars::{Schema, schema_for};

use super::series::SeriesView;
use super::{CardView, EdgeView, FactsView, LearnedLensView, PlanView, View, WatchView};

/// The JSON Schemas: file name under `schemas/`, text.
#[must_use]
pub fn schemas() -> Vec<(&'static str, String)> {
    let text = |schema: Schema| serde_json::to_string_pretty(&schema).unwrap_or_default() + "\n";
    vec![
        ("audit-3.schema.json", text(schema_for!(View))),
        ("card-1.schema.json", text(schema_for!(CardView))),
        ("edge-1.schema.json", text(schema_for!(EdgeView))),
        ("facts-1.schema.json", text(schema_for!(FactsView))),
        ("learned-lens-1.schema.json", text(schema_for!(LearnedLensView))),
        ("plan-1.schema.json", text(schema_for!(PlanView))),
        ("series-1.schema.json", text(schema_for!(SeriesView))),
        ("watch-1.schema.json", text(schema_for!(WatchView))),
    ]
}
