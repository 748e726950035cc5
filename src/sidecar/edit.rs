//! Places in the text of an XML document, and changes to them that leave all else as it is.

use std::ops::Range;

use roxmltree::{Attribute, Document, Node};
use thiserror::Error;

use super::RDF;

/// Places in a text and what is to stand there.
pub(super) type Changes = Vec<(Range<usize>, String)>;

/// Why a sidecar is left alone, as a clause.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum Refused {
    /// Two bytes a letter.
    #[error("it is in UTF-16, which is not merged here")]
    Utf16,
    /// Any other encoding than UTF-8.
    #[error("it is not in UTF-8")]
    Encoding,
    /// No XML.
    #[error("it is not well-formed XML (line {line}, column {column})")]
    Malformed {
        /// Line, from 1.
        line: u32,
        /// Column, from 1.
        column: u32,
    },
    /// It brings a document type with it.
    #[error("it has a document type declaration, which XMP doesn't have")]
    DocumentType,
    /// XML, but no XMP.
    #[error("it is not XMP: it has no rdf:RDF")]
    NotXmp,
    /// Its own packet says that it may only be read.
    #[error("it says of itself that it may only be read")]
    ReadOnly,
    /// A list of keywords that is no list.
    #[error("its list of keywords has a form that is not known here")]
    Keywords,
    /// The change would not have come out as meant.
    #[error("it can't be changed safely")]
    Unsafe,
}

/// The text of a file, and whether a byte-order mark stands before it.
pub(super) fn text(bytes: &[u8]) -> Result<(&str, bool), Refused> {
    if bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF]) || bytes.iter().take(4).any(|b| *b == 0) {
        return Err(Refused::Utf16);
    }
    let marked = bytes.starts_with(&[0xEF, 0xBB, 0xBF]);
    let text = std::str::from_utf8(&bytes[if marked { 3 } else { 0 }..]).map_err(|_| Refused::Encoding)?;
    let declaration = text.strip_prefix("<?xml").and_then(|t| t.split("?>").next()).unwrap_or("");
    match declaration.split_once("encoding").map(|(_, after)| after.trim_start_matches([' ', '\t', '\r', '\n', '='])) {
        Some(after) => {
            let name = after.trim_start_matches(['"', '\'']).split(['"', '\'']).next().unwrap_or("");
            let known = ["utf-8", "utf8", "us-ascii"].iter().any(|k| name.eq_ignore_ascii_case(k));
            known.then_some((text, marked)).ok_or(Refused::Encoding)
        }
        None => Ok((text, marked)),
    }
}

/// Deepest nesting of elements that is taken for XMP, whose own is below ten.
const DEEPEST: usize = 256;

pub(super) fn parse(text: &str) -> Result<Document<'_>, Refused> {
    // The reader goes down a level of its stack with each level of elements.
    if depth(text) > DEEPEST {
        return Err(Refused::NotXmp);
    }
    Document::parse(text).map_err(|error| match error {
        roxmltree::Error::DtdDetected => Refused::DocumentType,
        other => Refused::Malformed { line: other.pos().row, column: other.pos().col },
    })
}

/// An upper bound of how deep elements nest.
fn depth(text: &str) -> usize {
    let bytes = text.as_bytes();
    let (mut now, mut most) = (0_usize, 0);
    for (i, _) in bytes.iter().enumerate().filter(|(_, b)| **b == b'<') {
        match bytes.get(i + 1) {
            Some(b'/') => now = now.saturating_sub(1),
            Some(b'!' | b'?') | None => {}
            Some(_) => {
                now += 1;
                most = most.max(now);
                let end = bytes[i..].iter().position(|b| *b == b'>').map_or(bytes.len(), |n| i + n);
                if bytes[i..end].last() == Some(&b'/') {
                    now -= 1;
                }
            }
        }
    }
    most
}

/// Where an element's parts lie in the text.
pub(super) struct Parts<'t> {
    /// Its name as written.
    pub name: &'t str,
    /// Between its tags; empty, before the slash, where it has but one tag.
    pub inner: Range<usize>,
    /// Whether it is but one tag.
    pub single: bool,
}

impl<'t> Parts<'t> {
    pub(super) fn of(text: &'t str, node: Node<'_, '_>) -> Self {
        let Range { start, end } = node.range();
        let bytes = text.as_bytes();
        let name_end = text[start..end].find([' ', '\t', '\r', '\n', '/', '>']).map_or(end, |n| start + n);
        let name = &text[start + 1..name_end];
        let mut quote = None;
        let mut at = name_end;
        while at < end {
            match (quote, bytes[at]) {
                (None, b'>') => break,
                (None, q @ (b'"' | b'\'')) => quote = Some(q),
                (Some(q), b) if q == b => quote = None,
                _ => {}
            }
            at += 1;
        }
        if bytes[at - 1] == b'/' && at + 1 == end {
            return Self { name, inner: at - 1..at - 1, single: true };
        }
        let close = text[at..end].rfind("</").map_or(end, |n| at + n);
        Self { name, inner: (at + 1).min(close)..close, single: false }
    }

    /// What stands before the colon of its name, with the colon.
    pub(super) fn prefix(&self) -> &'t str {
        self.name.find(':').map_or("", |colon| &self.name[..=colon])
    }

    /// The change that puts text at the end of what it holds.
    pub(super) fn append(&self, content: &str) -> (Range<usize>, String) {
        if self.single {
            (self.inner.start..self.inner.start + 2, format!(">{content}</{}>", self.name))
        } else {
            (self.inner.end..self.inner.end, content.to_owned())
        }
    }

    /// The change that puts text in the place of what it holds.
    pub(super) fn replace(&self, content: &str) -> (Range<usize>, String) {
        if self.single { self.append(content) } else { (self.inner.clone(), content.to_owned()) }
    }
}

/// A place with the blanks before it, which go with what stands there.
pub(super) fn with_blanks_before(text: &str, range: Range<usize>) -> Range<usize> {
    text[..range.start].trim_end_matches([' ', '\t', '\r', '\n']).len()..range.end
}

/// The blanks before a place.
pub(super) fn blanks_before(text: &str, at: usize) -> &str {
    &text[text[..at].trim_end_matches([' ', '\t', '\r', '\n']).len()..at]
}

/// Text for between tags or quotes; what XML 1.0 can't hold is left out.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\t' | '\n' | '\r' => out.push(' '),
            c if c.is_control() || matches!(c, '\u{FFFE}' | '\u{FFFF}') => {}
            c => out.push(c),
        }
    }
    out
}

/// Makes changes, none of which may reach into another.
pub(super) fn apply(text: &str, mut changes: Changes) -> Result<String, Refused> {
    changes.sort_by_key(|(range, _)| (range.start, range.end));
    let mut out = String::with_capacity(text.len() + 4096);
    let mut at = 0;
    for (range, new) in changes {
        out.push_str(text.get(at..range.start).ok_or(Refused::Unsafe)?);
        out.push_str(&new);
        at = range.end;
    }
    out.push_str(text.get(at..).ok_or(Refused::Unsafe)?);
    Ok(out)
}

/// One value of a description: an attribute of it, or an element in it.
#[derive(Clone, Copy)]
pub(super) enum Value<'a> {
    Attribute(Attribute<'a, 'a>),
    Element(Node<'a, 'a>),
}

impl<'a> Value<'a> {
    /// Values of a namespace in the descriptions of a packet.
    pub(super) fn all(rdf: Node<'a, 'a>, namespace: &str) -> Vec<Self> {
        let mut found = Vec::new();
        for description in rdf.children().filter(|n| n.has_tag_name((RDF, "Description"))) {
            let attributes = description.attributes().filter(|a| a.namespace() == Some(namespace));
            found.extend(attributes.map(Value::Attribute));
            let elements = description.children().filter(|n| n.tag_name().namespace() == Some(namespace));
            found.extend(elements.map(Value::Element));
        }
        found
    }

    pub(super) fn name(self) -> &'a str {
        match self {
            Self::Attribute(a) => a.name(),
            Self::Element(e) => e.tag_name().name(),
        }
    }

    /// Its text; `None` where it is no plain text.
    pub(super) fn text(self) -> Option<String> {
        match self {
            Self::Attribute(a) => Some(a.value().to_owned()),
            Self::Element(e) if e.children().any(|c| c.is_element()) => None,
            Self::Element(e) => Some(e.children().filter_map(|c| c.text().filter(|_| c.is_text())).collect()),
        }
    }

    /// The change that gives it another text.
    pub(super) fn set(self, text: &str, to: &str) -> (Range<usize>, String) {
        match self {
            Self::Attribute(a) => {
                // The quotes around it stay; ours never stand bare in it.
                (a.range_value(), escaped(to).replace('\'', "&apos;"))
            }
            Self::Element(e) => Parts::of(text, e).replace(&escaped(to)),
        }
    }

    /// The change that takes it out.
    pub(super) fn take_out(self, text: &str) -> (Range<usize>, String) {
        let range = match self {
            Self::Attribute(a) => a.range(),
            Self::Element(e) => e.range(),
        };
        (with_blanks_before(text, range), String::new())
    }

    /// The change that puts another value behind it, of the same prefix and form.
    pub(super) fn put_behind(self, text: &str, name: &str, value: &str) -> (Range<usize>, String) {
        let value = escaped(value);
        match self {
            Self::Attribute(a) => {
                let (range, written) = (a.range(), &text[a.range_qname()]);
                let prefix = written.find(':').map_or("", |colon| &written[..=colon]);
                let blanks = blanks_before(text, range.start);
                (range.end..range.end, format!("{blanks}{prefix}{name}=\"{value}\""))
            }
            Self::Element(e) => {
                let (end, blanks) = (e.range().end, blanks_before(text, e.range().start));
                let prefix = Parts::of(text, e).prefix();
                (end..end, format!("{blanks}<{prefix}{name}>{value}</{prefix}{name}>"))
            }
        }
    }
}
