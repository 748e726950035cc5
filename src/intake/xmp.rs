//! XMP packets, embedded and in sidecar files: what raw converters note of the exposure.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

/// Longest sidecar read.
const MOST: u64 = 1 << 24;
/// Longest value of interest; image data in XMP is far longer.
const LONGEST: usize = 4096;

/// Beginnings of the names of the properties that facts and flags are read from, some by a name as a whole. Others are neither
/// held, so that nothing can be read from them, nor part of what a sidecar tells; the rest of a sidecar is no matter.
const OF_INTEREST: [&str; 8] =
    ["exif:", "exifEX:", "aux:", "tiff:", "photoshop:DateCreated", "xmp:CreateDate", "xmp:CreatorTool", "GPano:"];

/// The properties of interest of a packet by prefixed name, such as `aux:Lens`; list items are joined by blanks.
#[derive(Debug, Default)]
pub struct Properties(HashMap<String, String>);

impl Properties {
    /// The properties of packets, of which the first comes first.
    pub fn of<'a>(packets: impl IntoIterator<Item = &'a [u8]>) -> Self {
        let mut properties = Self::default();
        packets.into_iter().for_each(|packet| properties.add(packet));
        properties
    }

    /// Adds a packet's properties; those already there stay.
    pub fn add(&mut self, packet: &[u8]) {
        let packet = String::from_utf8_lossy(packet);
        let mut reader = Reader::from_str(&packet);
        let mut path: Vec<String> = Vec::new();
        loop {
            match reader.read_event() {
                Ok(Event::Start(element)) => {
                    self.attributes(&element);
                    if path.len() > 64 {
                        return;
                    }
                    path.push(name(element.name().as_ref()));
                }
                Ok(Event::Empty(element)) => self.attributes(&element),
                Ok(Event::End(_)) => {
                    path.pop();
                }
                Ok(Event::Text(text)) => {
                    let text = text.trim();
                    // The property is the nearest ancestor that is not RDF's own scaffolding.
                    if let Some(key) = path.iter().rev().find(|n| !n.starts_with("rdf:")) {
                        self.note(key, text);
                    }
                }
                Ok(Event::Eof) | Err(_) => return,
                Ok(_) => {}
            }
        }
    }

    fn attributes(&mut self, element: &BytesStart<'_>) {
        for attribute in element.attributes().with_checks(false).flatten().take(512) {
            let key = name(attribute.key.as_ref());
            if let Ok(text) = quick_xml::escape::unescape(&attribute.value) {
                self.note(&key, text.trim());
            }
        }
    }

    fn note(&mut self, key: &str, value: &str) {
        let wanted = OF_INTEREST.iter().any(|i| key.starts_with(i));
        if !wanted || value.is_empty() || value.len() > LONGEST || self.0.len() > 4096 {
            return;
        }
        match self.0.get_mut(key) {
            None => {
                self.0.insert(key.to_owned(), value.to_owned());
            }
            Some(old) if old.len() + value.len() < LONGEST && old != value => {
                old.push(' ');
                old.push_str(value);
            }
            Some(_) => {}
        }
    }

    /// A property's text.
    pub fn text(&self, key: &str) -> Option<&str> {
        self.0.get(key).map(String::as_str)
    }

    /// A property as a number: decimal, or a ratio `num/den` as Exif properties are written.
    pub fn number(&self, key: &str) -> Option<f64> {
        let text = self.text(key)?;
        text.split_whitespace().next().and_then(ratio)
    }
}

/// A decimal number, or a ratio of two.
pub fn ratio(text: &str) -> Option<f64> {
    match text.split_once('/') {
        Some((a, b)) => Some(a.parse::<f64>().ok()? / b.parse::<f64>().ok()?),
        None => text.parse().ok(),
    }
}

fn name(text: &str) -> String {
    text.chars().take(128).collect()
}

/// What the sidecar beside a file tells of its facts and flags, in one order; empty where there is none or it tells nothing.
/// All that can be read from a sidecar is in it.
#[must_use]
pub fn told_beside(path: &Path) -> Vec<u8> {
    let Some(packet) = sidecar(path) else { return Vec::new() };
    let mut properties = Properties::default();
    properties.add(&packet);
    let mut told: Vec<(&String, &String)> = properties.0.iter().collect();
    told.sort();
    told.iter().flat_map(|(name, value)| [name.as_bytes(), b"\0", value.as_bytes(), b"\0"].concat()).collect()
}

/// The names that a file's sidecar may have: those after its full name (`a.jpg.xmp`), then those after its name without ending
/// (`a.xmp`).
pub(crate) fn sidecar_names(path: &Path) -> [[PathBuf; 2]; 2] {
    let full = |ending: &str| {
        let mut name = path.as_os_str().to_owned();
        name.push(ending);
        PathBuf::from(name)
    };
    [[full(".xmp"), full(".XMP")], [path.with_extension("xmp"), path.with_extension("XMP")]]
}

/// The sidecar beside a file, if there is one: `name.ext.xmp`, else `name.xmp`.
pub fn sidecar(path: &Path) -> Option<Vec<u8>> {
    sidecar_names(path).into_iter().flatten().find_map(|beside| {
        let data = std::fs::metadata(&beside).ok()?;
        if beside == path || !data.is_file() || data.len() > MOST {
            return None;
        }
        std::fs::read(&beside).ok()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn properties_are_read_from_attributes_elements_and_lists() {
        let packet = r#"<?xpacket begin=""?><x:xmpmeta><rdf:RDF><rdf:Description aux:Lens="50 mm f/1.8 &amp; more">
            <exif:FNumber>56/10</exif:FNumber>
            <exif:ISOSpeedRatings><rdf:Seq><rdf:li>400</rdf:li></rdf:Seq></exif:ISOSpeedRatings>
            </rdf:Description></rdf:RDF></x:xmpmeta>"#;
        let mut p = Properties::default();
        p.add(packet.as_bytes());
        assert_eq!(p.text("aux:Lens"), Some("50 mm f/1.8 & more"));
        assert_eq!(p.number("exif:FNumber"), Some(5.6));
        assert_eq!(p.number("exif:ISOSpeedRatings"), Some(400.0));
        assert_eq!(p.text("exif:Missing"), None);
    }

    /// What flags are read from in a sidecar changes what it tells; what nothing is read from doesn't.
    #[test]
    fn a_sidecar_tells_all_that_can_be_read_from_it() {
        let folder = tempfile::tempdir().unwrap();
        let raw = folder.path().join("a.nef");
        let told = |properties: &str| {
            std::fs::write(folder.path().join("a.xmp"), format!("<rdf:Description {properties}/>")).unwrap();
            let mut read = Properties::default();
            read.add(&sidecar(&raw).unwrap());
            (told_beside(&raw), read)
        };
        for name in ["GPano:ProjectionType", "GPano:StitchingSoftware", "xmp:CreatorTool", "aux:Lens", "exif:FNumber"] {
            let (first, read) = told(&format!("{name}=\"1\""));
            assert_eq!(read.text(name), Some("1"));
            assert!(!first.is_empty() && first != told(&format!("{name}=\"2\"")).0, "{name}");
        }
        for name in ["dc:title", "xmp:Rating", "e:Tone", "xmlns:exif"] {
            let (first, read) = told(&format!("{name}=\"1\""));
            assert!(first.is_empty() && read.text(name).is_none(), "{name}");
        }
    }

    #[test]
    fn broken_packets_give_what_came_before_the_break() {
        let mut p = Properties::default();
        p.add(b"<a exif:FNumber=\"8/1\"><b");
        p.add(&[0xff, 0xfe, 0x00, 0x3c]);
        assert_eq!(p.number("exif:FNumber"), Some(8.0));
    }

    #[test]
    fn a_sidecar_is_found_under_both_names() {
        let folder = tempfile::tempdir().unwrap();
        let raw = folder.path().join("a.nef");
        assert_eq!(sidecar(&raw), None);
        std::fs::write(folder.path().join("a.xmp"), "short").unwrap();
        assert_eq!(sidecar(&raw).as_deref(), Some(b"short".as_slice()));
        std::fs::write(folder.path().join("a.nef.xmp"), "full").unwrap();
        assert_eq!(sidecar(&raw).as_deref(), Some(b"full".as_slice()));
    }
}
