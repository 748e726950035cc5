//! The list of keywords of a packet (`dc:subject`, an unordered array by ISO 16684-1), in the forms it is met in.

use roxmltree::Node;

use super::edit::{Changes, Parts, Refused, Value, blanks_before, escaped, with_blanks_before};
use super::{DC, RDF};

/// What stands for the list.
enum Form<'a> {
    /// None yet.
    None,
    /// A container of items, as it should be.
    List { list: Node<'a, 'a>, items: Vec<Node<'a, 'a>> },
    /// An element with plain text, or nothing, in it.
    Plain(Node<'a, 'a>),
    /// An attribute.
    Attribute(Value<'a>),
}

/// The keywords of a packet.
pub(super) struct Keywords<'a> {
    text: &'a str,
    form: Form<'a>,
}

impl<'a> Keywords<'a> {
    /// Finds the list; where there are several, the first that is a list.
    pub(super) fn find(text: &'a str, rdf: Node<'a, 'a>) -> Result<Self, Refused> {
        let mut best = Form::None;
        for value in Value::all(rdf, DC).into_iter().filter(|v| v.name() == "subject") {
            let form = match value {
                Value::Attribute(_) => Form::Attribute(value),
                Value::Element(e) => element(e)?,
            };
            match (&best, &form) {
                (Form::None, _) => best = form,
                (Form::List { .. }, _) => {}
                (_, Form::List { .. }) => best = form,
                _ => {}
            }
        }
        Ok(Self { text, form: best })
    }

    /// The keywords that are there.
    pub(super) fn present(&self) -> Vec<String> {
        match &self.form {
            Form::None => Vec::new(),
            Form::List { items, .. } => items.iter().map(|item| said(*item)).collect(),
            Form::Plain(e) => [said(*e)].into_iter().filter(|t| !t.is_empty()).collect(),
            Form::Attribute(value) => value.text().into_iter().filter(|t| !t.is_empty()).collect(),
        }
    }

    /// The changes that take keywords out and put others in, and what is to stand in a new description where the list has no
    /// place yet: raw items to begin the list with.
    pub(super) fn change(&self, take_out: &[&str], put_in: &[&str]) -> Result<(Changes, Option<Vec<String>>), Refused> {
        let text = self.text;
        let mut changes = Changes::new();
        match &self.form {
            Form::None => return Ok((changes, (!put_in.is_empty()).then(Vec::new))),
            Form::Attribute(value) => {
                if put_in.is_empty() {
                    return Ok((changes, None));
                }
                let Value::Attribute(a) = value else { return Err(Refused::Keywords) };
                changes.push(value.take_out(text));
                let old = text[a.range_value()].to_owned();
                return Ok((changes, Some(if old.trim().is_empty() { Vec::new() } else { vec![old] })));
            }
            Form::Plain(e) => {
                if put_in.is_empty() {
                    return Ok((changes, None));
                }
                let parts = Parts::of(text, *e);
                let rdf = prefix_of_rdf(*e).ok_or(Refused::Keywords)?;
                let mut items = String::new();
                let old = text[parts.inner.clone()].trim();
                if !old.is_empty() {
                    items.push_str(&item(&rdf, old));
                }
                put_in.iter().for_each(|k| items.push_str(&item(&rdf, &escaped(k))));
                changes.push(parts.replace(&format!("<{rdf}Bag>{items}</{rdf}Bag>")));
            }
            Form::List { list, items } => {
                for gone in items.iter().filter(|i| take_out.contains(&said(**i).as_str())) {
                    changes.push((with_blanks_before(text, gone.range()), String::new()));
                }
                let parts = Parts::of(text, *list);
                let rdf = parts.prefix();
                if !put_in.is_empty() {
                    let new = |blanks: &str| {
                        put_in.iter().map(|k| format!("{blanks}{}", item(rdf, &escaped(k)))).collect::<String>()
                    };
                    match list.children().rfind(Node::is_element) {
                        Some(last) => {
                            let at = last.range().end;
                            changes.push((at..at, new(blanks_before(text, last.range().start))));
                        }
                        None => changes.push(parts.append(&new(""))),
                    }
                }
            }
        }
        Ok((changes, None))
    }
}

/// A list item with raw text in it.
pub(super) fn item(prefix: &str, raw: &str) -> String {
    format!("<{prefix}li>{raw}</{prefix}li>")
}

fn element<'a>(e: Node<'a, 'a>) -> Result<Form<'a>, Refused> {
    let scaffolding = |a: &roxmltree::Attribute<'_, '_>| a.namespace() == Some(RDF);
    let mut inside = e.children().filter(Node::is_element);
    match (inside.next(), inside.next()) {
        (None, _) if e.attributes().any(|a| scaffolding(&a)) => Err(Refused::Keywords),
        (None, _) => Ok(Form::Plain(e)),
        (Some(list), None)
            if list.tag_name().namespace() == Some(RDF)
                && matches!(list.tag_name().name(), "Bag" | "Seq" | "Alt")
                && !e.attributes().any(|a| scaffolding(&a)) =>
        {
            let items = list.children().filter(|n| n.has_tag_name((RDF, "li"))).collect();
            Ok(Form::List { list, items })
        }
        _ => Err(Refused::Keywords),
    }
}

/// The text of an item, also where it stands in an `rdf:value` beside qualifiers.
fn said(item: Node<'_, '_>) -> String {
    let value = item.descendants().find(|n| n.has_tag_name((RDF, "value"))).unwrap_or(item);
    let text: String = value.children().filter(Node::is_text).filter_map(|c| c.text()).collect();
    text.trim().to_owned()
}

/// The prefix, with its colon, that stands for RDF at an element.
fn prefix_of_rdf(e: Node<'_, '_>) -> Option<String> {
    e.namespaces().find(|n| n.uri() == RDF).map(|n| n.name().map_or_else(String::new, |name| format!("{name}:")))
}
