//! View to `audit.json`, and its published schema.

use serde::Serialize;

use super::View;

/// The view as JSON, one frame or failure a line so that lines can be searched and compared.
#[must_use]
pub fn json(view: &View) -> Vec<u8> {
    let mut out = Vec::new();
    out.extend_from_slice(b"{\n");
    let mut field = |name: &str, value: Vec<u8>, last: bool| {
        out.extend_from_slice(format!("\"{name}\": ").as_bytes());
        out.extend_from_slice(&value);
        out.extend_from_slice(if last { b"\n" } else { b",\n" });
    };
    field("format", bytes(&view.format), false);
    field("version", bytes(&view.version), false);
    field("asked", bytes(&view.asked), false);
    field("summary", bytes(&view.summary), false);
    field("frames", lines(&view.frames), false);
    field("failures", lines(&view.failures), false);
    field("groups", lines(&view.groups), false);
    field("baselines", lines(&view.baselines), true);
    out.extend_from_slice(b"}\n");
    out
}

fn lines<T: Serialize>(items: &[T]) -> Vec<u8> {
    let mut out = b"[".to_vec();
    for (i, item) in items.iter().enumerate() {
        out.extend_from_slice(if i == 0 { b"\n" } else { b",\n" });
        out.extend_from_slice(&bytes(item));
    }
    out.extend_from_slice(b"]");
    out
}

fn bytes<T: Serialize>(value: &T) -> Vec<u8> {
    // Plain structs, text and numbers always serialise; an empty value is better than a panic.
    serde_json::to_vec(value).unwrap_or_else(|_| b"null".to_vec())
}

/// The published JSON Schemas: file name under `schemas/`, text.
#[must_use]
pub fn schemas() -> Vec<(&'static str, String)> {
    let text = |schema: schemars::Schema| serde_json::to_string_pretty(&schema).unwrap_or_default() + "\n";
    vec![
        ("audit-2.schema.json", text(schemars::schema_for!(View))),
        ("card-1.schema.json", text(schemars::schema_for!(super::plan::CardView))),
        ("edge-1.schema.json", text(schemars::schema_for!(super::EdgeView))),
        ("facts-1.schema.json", text(schemars::schema_for!(Vec<super::FactsView>))),
        ("plan-1.schema.json", text(schemars::schema_for!(super::plan::PlanView))),
    ]
}
