//! Ours into theirs: the sidecar as it should be, from the sidecar as it is.

use std::ops::Range;

use roxmltree::Node;

use super::edit::{Changes, Parts, Refused, Value, apply, blanks_before, escaped, parse, text};
use super::keywords::{Keywords, item};
use super::{DC, NAMESPACE, PREFIX, RDF, Rating, Wanted, XMP};

/// Our property that lists the keywords we put in, so that only those are ever taken out.
const KEYWORDS: &str = "keywords";
/// Our property that holds the rating we gave, so that one the user changed since is theirs.
const RATED: &str = "rated";

/// A packet with nothing in it.
const EMPTY: &str = "<?xpacket begin=\"\u{feff}\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n\
    <x:xmpmeta xmlns:x=\"adobe:ns:meta/\">\n \
    <rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">\n \
    </rdf:RDF>\n\
    </x:xmpmeta>\n\
    <?xpacket end=\"w\"?>\n";

/// What a merge came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Merged {
    /// It says all that already.
    Same {
        /// As in [`Change`].
        rating_kept: Option<String>,
    },
    /// It is to be changed.
    Changed {
        /// Its new content.
        bytes: Vec<u8>,
        /// What is new in it.
        change: Change,
    },
}

/// What a merge changes.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Change {
    /// Keywords put in.
    pub put_in: Vec<String>,
    /// Keywords of ours taken out.
    pub taken_out: Vec<String>,
    /// Properties of ours that are new, changed or gone.
    pub properties: usize,
    /// The rating before, where there was one, and after.
    pub rating: Option<(Option<String>, u8)>,
    /// A rating that was asked for but not given, since this one, not ours, is there.
    pub rating_kept: Option<String>,
}

/// A new sidecar.
///
/// # Errors
/// None that can be foreseen; as [`merge`].
pub fn new(wanted: &Wanted) -> Result<(Vec<u8>, Change), Refused> {
    match merge(EMPTY.as_bytes(), wanted)? {
        Merged::Changed { bytes, change } => Ok((bytes, change)),
        Merged::Same { .. } => Ok((EMPTY.into(), Change::default())),
    }
}

/// Merges what is wanted into a sidecar.
///
/// # Errors
/// [`Refused`] where it is not XMP in UTF-8 that can be changed with all else kept.
pub fn merge(existing: &[u8], wanted: &Wanted) -> Result<Merged, Refused> {
    let merged = once(existing, wanted)?;
    if let Merged::Changed { bytes, .. } = &merged {
        // What was just written must read as what was to be written.
        let again = once(bytes, wanted).map_err(|_| Refused::Unsafe)?;
        if !matches!(again, Merged::Same { .. }) {
            return Err(Refused::Unsafe);
        }
    }
    Ok(merged)
}

fn once(existing: &[u8], wanted: &Wanted) -> Result<Merged, Refused> {
    let (text, marked) = text(existing)?;
    let document = parse(text)?;
    if document.root().children().any(|n| n.pi().is_some_and(|p| p.target == "xpacket" && read_only(p.value))) {
        return Err(Refused::ReadOnly);
    }
    let rdf = document.descendants().find(|n| n.has_tag_name((RDF, "RDF"))).ok_or(Refused::NotXmp)?;
    let (changes, change) = changes(text, rdf, wanted)?;
    if changes.is_empty() {
        return Ok(Merged::Same { rating_kept: change.rating_kept });
    }
    let mut bytes = if marked { vec![0xEF, 0xBB, 0xBF] } else { Vec::new() };
    bytes.extend_from_slice(apply(text, changes)?.as_bytes());
    Ok(Merged::Changed { bytes, change })
}

fn read_only(value: Option<&str>) -> bool {
    value.is_some_and(|v| matches!(v.split_whitespace().collect::<String>().as_str(), "end=\"r\"" | "end='r'"))
}

fn changes<'a>(text: &'a str, rdf: Node<'a, 'a>, wanted: &Wanted) -> Result<(Changes, Change), Refused> {
    let mut change = Change::default();
    let mut all = Changes::new();
    let there = Value::all(rdf, NAMESPACE);
    let said = |name: &str| there.iter().find(|v| v.name() == name).and_then(|v| v.text());

    // Keywords: those that somebody else put in are nobody's to take out.
    let keywords = Keywords::find(text, rdf)?;
    let present = keywords.present();
    let before = said(KEYWORDS).unwrap_or_default();
    let before: Vec<&str> = before.split(", ").filter(|k| !k.is_empty()).collect();
    let is_there = |k: &str| present.iter().any(|p| p == k);
    let take_out: Vec<&str> =
        before.iter().copied().filter(|k| is_there(k) && !wanted.keywords.iter().any(|w| w == k)).collect();
    let put_in: Vec<&str> = wanted.keywords.iter().map(String::as_str).filter(|k| !is_there(k)).collect();
    let ours: Vec<&str> =
        wanted.keywords.iter().map(String::as_str).filter(|k| put_in.contains(k) || before.contains(k)).collect();
    let (made, list) = keywords.change(&take_out, &put_in)?;
    all.extend(made);
    let mut properties = wanted.properties.clone();
    if !ours.is_empty() {
        properties.push((KEYWORDS, ours.join(", ")));
    }

    // The rating.
    let stars = Value::all(rdf, XMP).into_iter().find(|v| v.name() == "Rating");
    let mut new_rating = None;
    match wanted.rating {
        None => properties.extend(said(RATED).map(|kept| (RATED, kept))),
        Some(rating) => match rate(stars, said(RATED).as_deref(), rating) {
            Rate::Kept(theirs) => change.rating_kept = Some(theirs),
            Rate::As(was) => {
                properties.push((RATED, rating.stars.to_string()));
                if was.as_deref() != Some(rating.stars.to_string().as_str()) {
                    match stars {
                        Some(value) => all.push(value.set(text, &rating.stars.to_string())),
                        None => new_rating = Some(rating.stars),
                    }
                    change.rating = Some((was, rating.stars));
                }
            }
        },
    }

    // Our own properties, each where it stands; what has no place yet goes beside them or into a description of its own.
    let homeless = settle(text, &there, &properties, &mut all, &mut change);
    change.put_in = put_in.iter().map(|k| (*k).to_owned()).collect();
    change.taken_out = take_out.iter().map(|k| (*k).to_owned()).collect();
    let block = Block { properties: homeless, list: list.map(|old| (old, put_in)), rating: new_rating };
    if !block.is_empty() {
        all.push(block.placed(text, rdf));
    }
    Ok((all, change))
}

/// Where a rating comes to stand.
enum Rate {
    /// As asked, in the place of this.
    As(Option<String>),
    /// The user's own stays.
    Kept(String),
}

fn rate(stars: Option<Value<'_>>, ours: Option<&str>, asked: Rating) -> Rate {
    let now = stars.map(|v| v.text().unwrap_or_default().trim().to_owned());
    match now {
        // No stars at all is no rating (ISO 16684-1: 0 is "unrated").
        Some(now) if !asked.replaces && !now.is_empty() && now != "0" && Some(now.as_str()) != ours => Rate::Kept(now),
        now => Rate::As(now.filter(|n| !n.is_empty())),
    }
}

/// Brings the properties that are there up to date, and gives those that have no place.
fn settle(
    text: &str,
    there: &[Value<'_>],
    wanted: &[(&'static str, String)],
    all: &mut Changes,
    change: &mut Change,
) -> Vec<(&'static str, String)> {
    let mut kept: Vec<Value<'_>> = Vec::new();
    for value in there {
        let wish = wanted.iter().find(|(name, _)| *name == value.name());
        let again = kept.iter().any(|k| k.name() == value.name());
        match (wish, value.text()) {
            (Some((_, wish)), Some(now)) if !again => {
                kept.push(*value);
                if now != *wish {
                    all.push(value.set(text, wish));
                    change.properties += 1;
                }
            }
            _ => {
                all.push(value.take_out(text));
                change.properties += usize::from(!again);
            }
        }
    }
    let missing: Vec<_> = wanted.iter().filter(|(name, _)| !kept.iter().any(|k| k.name() == *name)).cloned().collect();
    change.properties += missing.len();
    let Some(last) = kept.last() else { return missing };
    all.extend(missing.iter().map(|(name, value)| last.put_behind(text, name, value)));
    Vec::new()
}

/// A description of our own.
struct Block<'a> {
    properties: Vec<(&'static str, String)>,
    /// Raw items to begin a list of keywords with, and keywords to go on with.
    list: Option<(Vec<String>, Vec<&'a str>)>,
    rating: Option<u8>,
}

impl Block<'_> {
    fn is_empty(&self) -> bool {
        self.properties.is_empty() && self.list.is_none() && self.rating.is_none()
    }

    /// The change that puts it behind the last description.
    fn placed(&self, text: &str, rdf: Node<'_, '_>) -> (Range<usize>, String) {
        let line = if text.contains("\r\n") { "\r\n" } else { "\n" };
        let last = rdf.children().rfind(Node::is_element);
        let neighbour = last.unwrap_or(rdf);
        let before = blanks_before(text, neighbour.range().start);
        let mut indent = before.rsplit('\n').next().unwrap_or("").to_owned();
        if last.is_none() {
            indent.push(' ');
        }
        let block = self.written(text, rdf, line, &indent);
        let parts = Parts::of(text, rdf);
        match last {
            Some(last) => (last.range().end..last.range().end, block),
            None if parts.single => parts.append(&(block + line)),
            None => (parts.inner.start..parts.inner.start, block),
        }
    }

    fn written(&self, text: &str, rdf: Node<'_, '_>, line: &str, indent: &str) -> String {
        let tag = Parts::of(text, rdf);
        // A prefix is needed for the attribute even where RDF's elements have none.
        let (own, prefix) = match tag.prefix() {
            "" => (format!(" xmlns:rdf=\"{RDF}\""), "rdf:"),
            prefix => (String::new(), prefix),
        };
        let about = rdf
            .children()
            .filter(|n| n.has_tag_name((RDF, "Description")))
            .find_map(|d| d.attributes().find(|a| a.name() == "about" && a.namespace().is_none_or(|n| n == RDF)));
        let about = about.map_or("", |a| a.value());
        let mut out = format!("{line}{indent}<{prefix}Description {prefix}about=\"{}\"{own}", escaped(about));
        if !self.properties.is_empty() {
            out.push_str(&format!("{line}{indent}  xmlns:{PREFIX}=\"{NAMESPACE}\""));
        }
        if self.list.is_some() {
            out.push_str(&format!("{line}{indent}  xmlns:dc=\"{DC}\""));
        }
        if self.rating.is_some() {
            out.push_str(&format!("{line}{indent}  xmlns:xmp=\"{XMP}\""));
        }
        out.push('>');
        for (name, value) in &self.properties {
            out.push_str(&format!("{line}{indent} <{PREFIX}:{name}>{}</{PREFIX}:{name}>", escaped(value)));
        }
        if let Some(stars) = self.rating {
            out.push_str(&format!("{line}{indent} <xmp:Rating>{stars}</xmp:Rating>"));
        }
        if let Some((old, new)) = &self.list {
            out.push_str(&format!("{line}{indent} <dc:subject>{line}{indent}  <{prefix}Bag>"));
            let items = old.iter().cloned().chain(new.iter().map(|k| escaped(k)));
            items.for_each(|raw| out.push_str(&format!("{line}{indent}   {}", item(prefix, &raw))));
            out.push_str(&format!("{line}{indent}  </{prefix}Bag>{line}{indent} </dc:subject>"));
        }
        out.push_str(&format!("{line}{indent}</{prefix}Description>"));
        out
    }
}
