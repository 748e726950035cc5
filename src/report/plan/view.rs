//! A plan as JSON: the numbers of its answer, and the same in sentences.

use schemars::JsonSchema;
use serde::Serialize;

use super::words;
use crate::plan::{Plan, Was};
use crate::quantity::Units;

/// `tussock plan --json`: lengths in metres, or in the unit the key names.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct PlanView<'a> {
    /// Always `tussock.plan`.
    pub format: &'static str,
    /// Version of this format.
    pub version: u32,
    /// The photograph the question was taken from; null where it was asked by hand.
    pub from: Option<&'a Was>,
    /// The answer.
    #[serde(flatten)]
    pub plan: &'a Plan,
    /// The answer in sentences, in the units asked for.
    pub advice: Vec<String>,
}

impl<'a> PlanView<'a> {
    /// The view of a plan.
    pub(crate) fn new(plan: &'a Plan, from: Option<&'a Was>, units: Units) -> Self {
        let advice = words::answer(plan, units).into_iter().chain(words::reasons(plan, units)).collect();
        Self { format: "tussock.plan", version: 1, from, plan, advice }
    }
}
