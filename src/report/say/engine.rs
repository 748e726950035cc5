//! The template engine of all pages: one strict set-up.

use minijinja::value::{Serde, Value};
use minijinja::{AutoEscape, Environment, UndefinedBehavior};
use serde::Serialize;

/// The template engine: every value is escaped unless the template says it is made here, and what has no value is an error.
pub(in crate::report) fn strict() -> Environment<'static> {
    let mut environment = Environment::new();
    environment.set_auto_escape_callback(|_| AutoEscape::Html);
    environment.set_undefined_behavior(UndefinedBehavior::Strict);
    environment
}

/// A page of one template.
pub(in crate::report) fn page(template: &'static str, values: Value) -> String {
    whole(strict().render_str(template, values))
}

/// A template with its values.
pub(in crate::report) fn rendered<T: Serialize>(environment: &Environment<'_>, name: &str, values: &T) -> String {
    whole(environment.get_template(name).and_then(|t| t.render(Value::from(Serde(values)))))
}

/// A page that was made. Templates are compiled in and every value is given, which the tests check; a page that says so is still
/// better than a panic.
fn whole(made: Result<String, minijinja::Error>) -> String {
    made.unwrap_or_else(|error| {
        format!("<!doctype html><title>tussock</title><p>The page could not be made: {}.", error.kind())
    })
}
