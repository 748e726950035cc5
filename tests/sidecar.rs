//! XMP sidecars: what a merge keeps, byte by byte, what it changes, and what it leaves alone. Forms of packets after
//! ISO 16684-1 (serialization in RDF/XML, clause 7) and the RDF/XML syntax of W3C.

use proptest::prelude::*;
use tussock::sidecar::{Merged, NAMESPACE, Rating, Wanted, merge, new};

const SAME: Merged = Merged::Same { rating_kept: None };

fn wanted(keywords: &[&str], values: &[(&'static str, &str)]) -> Wanted {
    Wanted {
        keywords: keywords.iter().map(|k| (*k).to_owned()).collect(),
        properties: values.iter().map(|(n, v)| (*n, (*v).to_owned())).collect(),
        rating: None,
    }
}

fn soft() -> Wanted {
    wanted(
        &["not-sharp-throughout", "focus-too-far"],
        &[("near", "beyond"), ("sentence", "Near is \"soft\" & far isn't <so>.")],
    )
}

fn sharp() -> Wanted {
    wanted(&["sharp-throughout"], &[("near", "within"), ("far", "within")])
}

fn changed(existing: &str, wanted: &Wanted) -> String {
    match merge(existing.as_bytes(), wanted).unwrap_or_else(|why| panic!("{why}\n{existing}")) {
        Merged::Changed { bytes, .. } => String::from_utf8(bytes).unwrap(),
        Merged::Same { .. } => panic!("nothing changed:\n{existing}"),
    }
}

/// Keywords and our properties as another reader of XML finds them.
fn read(text: &str) -> (Vec<String>, Vec<(String, String)>) {
    let document = roxmltree::Document::parse(text.trim_start_matches('\u{feff}')).unwrap();
    let dc = "http://purl.org/dc/elements/1.1/";
    let lists: Vec<_> = document.descendants().filter(|n| n.has_tag_name((dc, "subject"))).collect();
    assert_eq!(lists.len(), 1, "{text}");
    let items = lists[0].descendants().filter(|n| n.tag_name().name() == "li");
    let keywords = items.map(|n| n.text().unwrap_or("").trim().to_owned()).collect();
    let mut ours: Vec<(String, String)> = Vec::new();
    for node in document.descendants().filter(|n| n.is_element()) {
        if node.tag_name().namespace() == Some(NAMESPACE) {
            ours.push((node.tag_name().name().into(), node.text().unwrap_or("").into()));
        }
        let own = node.attributes().filter(|a| a.namespace() == Some(NAMESPACE));
        ours.extend(own.map(|a| (a.name().to_owned(), a.value().to_owned())));
    }
    (keywords, ours)
}

const HEAD: &str = "<x:xmpmeta xmlns:x=\"adobe:ns:meta/\" x:xmptk=\"Else 1.0\">\n <rdf:RDF \
    xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">\n";
const TAIL: &str = " </rdf:RDF>\n</x:xmpmeta>\n";
const DC: &str = "xmlns:dc=\"http://purl.org/dc/elements/1.1/\"";

fn packet(inside: &str) -> String {
    format!("{HEAD}{inside}{TAIL}")
}

/// Packets of many forms, each with a keyword "moor" in it, or none.
fn zoo() -> Vec<(&'static str, String, bool)> {
    let list = "   <dc:subject>\n    <rdf:Bag>\n     <rdf:li>moor</rdf:li>\n    </rdf:Bag>\n   </dc:subject>\n";
    let usual = format!(
        "  <rdf:Description rdf:about=\"uuid:7\" {DC}\n    xmlns:edit=\"http://else.invalid/edit/1/\"\n    \
         edit:Exposure='+0.35'   edit:Curve=\"0, 0 &amp; 255,255\">\n{list}   <edit:Mask rdf:parseType=\"Resource\">\n    \
         <edit:Feather>3</edit:Feather>\n   </edit:Mask>\n   <!-- a remark -->\n  </rdf:Description>\n"
    );
    let rdf = "http://www.w3.org/1999/02/22-rdf-syntax-ns#";
    vec![
        ("usual", packet(&usual), true),
        (
            "with a declaration and a wrapper",
            format!(
                "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<?xpacket begin=\"\u{feff}\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n{}{}\n\
             <?xpacket end=\"w\"?>",
                packet(&usual),
                " ".repeat(200)
            ),
            true,
        ),
        ("a byte-order mark", format!("\u{feff}{}", packet(&usual)), true),
        ("lines end with two characters", packet(&usual).replace('\n', "\r\n"), true),
        ("no list", packet("  <rdf:Description rdf:about=\"\" xmlns:q=\"http://q.invalid/\" q:a=\"1\"/>\n"), false),
        ("no description", packet(""), false),
        (
            "an empty list",
            packet(&format!(
                "  <rdf:Description rdf:about=\"\" {DC}>\n   <dc:subject>\n    <rdf:Bag/>\n   \
            </dc:subject>\n  </rdf:Description>\n"
            )),
            false,
        ),
        (
            "an empty list of two tags",
            packet(&format!(
                "  <rdf:Description rdf:about=\"\" {DC}><dc:subject><rdf:Bag></rdf:Bag>\
            </dc:subject></rdf:Description>\n"
            )),
            false,
        ),
        (
            "an empty element",
            packet(&format!("  <rdf:Description rdf:about=\"\" {DC}><dc:subject/></rdf:Description>\n")),
            false,
        ),
        (
            "plain text",
            packet(&format!(
                "  <rdf:Description rdf:about=\"\" {DC}><dc:subject>moor</dc:subject></rdf:Description>\n"
            )),
            true,
        ),
        (
            "an attribute",
            packet(&format!("  <rdf:Description rdf:about=\"\" {DC} dc:subject='moor'  dc:format=\"image/jpeg\"/>\n")),
            true,
        ),
        (
            "an ordered list on one line",
            packet(&format!(
                "<rdf:Description rdf:about=\"\" {DC}><dc:subject><rdf:Seq><rdf:li>moor</rdf:li></rdf:Seq></dc:subject></rdf:Description>"
            )),
            true,
        ),
        (
            "qualified items",
            packet(&format!(
                "<rdf:Description rdf:about=\"\" {DC} xmlns:q=\"http://q.invalid/\"><dc:subject><rdf:Bag><rdf:li rdf:parseType=\"Resource\">\
             <rdf:value>moor</rdf:value><q:role>x</q:role></rdf:li></rdf:Bag></dc:subject></rdf:Description>"
            )),
            false,
        ),
        (
            "two descriptions",
            packet(&format!(
                "  <rdf:Description rdf:about=\"\" xmlns:q=\"http://q.invalid/\" q:a=\"1\"/>\n  <rdf:Description rdf:about=\"\" {DC}>\n{list}  \
             </rdf:Description>\n"
            )),
            true,
        ),
        (
            "other prefixes",
            format!(
                "<m:xmpmeta xmlns:m=\"adobe:ns:meta/\"><r:RDF xmlns:r=\"{rdf}\"><r:Description r:about=\"\" xmlns:core=\"http://purl.org/dc/elements/1.1/\" \
             xmlns:dc=\"http://dc.invalid/\" xmlns:tussock=\"http://grass.invalid/\" dc:subject=\"no\" tussock:keywords=\"no\"><core:subject><r:Bag>\
             <r:li>moor</r:li></r:Bag></core:subject></r:Description></r:RDF></m:xmpmeta>"
            ),
            true,
        ),
        (
            "RDF without a prefix",
            format!(
                "<RDF xmlns=\"{rdf}\" xmlns:rdf=\"{rdf}\"><Description rdf:about=\"\" {DC}><dc:subject><Bag><li>moor</li></Bag></dc:subject>\
             </Description></RDF>"
            ),
            true,
        ),
        ("one tag", format!("<rdf:RDF xmlns:rdf=\"{rdf}\"/>"), false),
        (
            "keywords with marks",
            packet(&format!(
                "<rdf:Description rdf:about=\"\" {DC}><dc:subject><rdf:Bag><rdf:li>moor</rdf:li><rdf:li xml:lang=\"x-default\">a &amp; b</rdf:li>\
             <rdf:li><![CDATA[c < d]]></rdf:li></rdf:Bag></dc:subject></rdf:Description>"
            )),
            true,
        ),
    ]
}

/// Whether all of `old` is in `new`, in its order.
fn holds_in_order(new: &str, old: &str) -> bool {
    let mut rest = new.bytes();
    old.bytes().all(|b| rest.any(|n| n == b))
}

#[test]
fn whatever_is_there_stays_and_a_second_time_changes_nothing() {
    for (what, before, moor) in zoo() {
        let after = changed(&before, &soft());
        let (keywords, ours) = read(&after);
        let with_moor = keywords.iter().any(|k| k == "moor");
        assert_eq!(with_moor, moor, "{what}:\n{after}");
        assert!(keywords.ends_with(&["not-sharp-throughout".into(), "focus-too-far".into()]), "{what}:\n{after}");
        for (name, value) in &soft().properties {
            assert!(ours.contains(&((*name).to_owned(), value.clone())), "{what}: {name}\n{after}");
        }
        assert_eq!(merge(after.as_bytes(), &soft()), Ok(SAME), "{what}");
        // What is outside the list of keywords and our block: everything where nothing had to be unfolded.
        if !matches!(what, "an attribute" | "an empty list" | "an empty element" | "one tag") {
            let (mut cut, mut old) = (after.clone(), before.clone());
            for text in [&mut cut, &mut old] {
                if let (Some(start), Some(end)) = (text.find("subject>"), text.rfind("subject>")) {
                    // A list in our own block goes with the block.
                    if start != end && before.contains("subject>") {
                        text.replace_range(start..end, "");
                    }
                }
            }
            let block = cut.find(&format!("xmlns:tussock=\"{NAMESPACE}\"")).expect("our block");
            let start = cut[..block].rfind('<').unwrap();
            let start = cut[..start].trim_end().len();
            let close = "Description>";
            let end = block + cut[block..].find(close).unwrap() + close.len();
            cut.replace_range(start..end, "");
            assert_eq!(cut, old, "{what}");
        }
        assert_eq!(before.starts_with('\u{feff}'), after.starts_with('\u{feff}'), "{what}");
        if before.contains("\r\n") {
            assert!(!after.replace("\r\n", "").contains('\n'), "{what}");
        }
    }
}

#[test]
fn keywords_of_ours_change_with_the_verdict_and_the_users_own_stay() {
    for (what, before, moor) in zoo() {
        let first = changed(&before, &soft());
        let (second, change) = match merge(first.as_bytes(), &sharp()).unwrap() {
            Merged::Changed { bytes, change } => (String::from_utf8(bytes).unwrap(), change),
            Merged::Same { .. } => panic!("{what}"),
        };
        let (keywords, ours) = read(&second);
        assert_eq!(change.put_in, ["sharp-throughout"], "{what}");
        assert_eq!(change.taken_out, ["not-sharp-throughout", "focus-too-far"], "{what}");
        assert_eq!(keywords.iter().any(|k| k == "moor"), moor, "{what}");
        assert!(keywords.last().is_some_and(|k| k == "sharp-throughout"), "{what}:\n{second}");
        assert!(!keywords.iter().any(|k| k == "focus-too-far"), "{what}:\n{second}");
        let mut names: Vec<&str> = ours.iter().map(|(n, _)| n.as_str()).collect();
        names.sort_unstable();
        let expected: &[&str] = &["far", "keywords", "near"];
        let names: Vec<&str> = names.into_iter().filter(|n| what != "other prefixes" || *n != "no").collect();
        assert_eq!(names, expected, "{what}:\n{second}");
        // Back again, what is the user's is still as it was.
        let third = changed(&second, &soft());
        assert!(
            holds_in_order(&third, &before)
                || matches!(what, "an attribute" | "an empty list" | "an empty element" | "one tag"),
            "{what}:\n{third}"
        );
        assert_eq!(merge(third.as_bytes(), &soft()), Ok(SAME), "{what}");
    }
}

#[test]
fn a_keyword_that_the_user_had_is_never_taken_out() {
    let before = packet(&format!(
        "<rdf:Description rdf:about=\"\" {DC}><dc:subject><rdf:Bag><rdf:li>focus-too-far</rdf:li></rdf:Bag></dc:subject></rdf:Description>"
    ));
    let first = changed(&before, &soft());
    assert_eq!(read(&first).0, ["focus-too-far", "not-sharp-throughout"]);
    assert_eq!(read(&changed(&first, &sharp())).0, ["focus-too-far", "sharp-throughout"]);
}

#[test]
fn what_another_program_wrote_anew_is_brought_up_to_date_where_it_stands() {
    // Another program may write our values as attributes, under a prefix of its own, among its own.
    let before = packet(&format!(
        "  <rdf:Description rdf:about=\"\" {DC} xmlns:ns1=\"{NAMESPACE}\" xmlns:q=\"http://q.invalid/\"\n   q:a=\"1\"\n   \
         ns1:near='beyond'\n   ns1:keywords=\"focus-too-far\"\n   q:b=\"2\">\n   <ns1:old>gone</ns1:old>\n   <dc:subject><rdf:Bag>\
         <rdf:li>focus-too-far</rdf:li><rdf:li>moor</rdf:li></rdf:Bag></dc:subject>\n  </rdf:Description>\n"
    ));
    let after = changed(&before, &sharp());
    assert_eq!(read(&after).0, ["moor", "sharp-throughout"]);
    let expected = before
        .replace("'beyond'", "'within'")
        .replace("\"focus-too-far\"\n   q:b", "\"sharp-throughout\"\n   ns1:far=\"within\"\n   q:b")
        .replace("\n   <ns1:old>gone</ns1:old>", "")
        .replace(
            "<rdf:li>focus-too-far</rdf:li><rdf:li>moor</rdf:li>",
            "<rdf:li>moor</rdf:li><rdf:li>sharp-throughout</rdf:li>",
        );
    assert_eq!(after, expected);
}

fn rated(stars: u8, replaces: bool) -> Wanted {
    Wanted { rating: Some(Rating { stars, replaces }), ..sharp() }
}

#[test]
fn ratings_are_touched_only_where_asked() {
    let with = |rating: &str| {
        packet(&format!(
            "  <rdf:Description rdf:about=\"\" xmlns:xmp=\"http://ns.adobe.com/xap/1.0/\" {rating} xmp:Label=\"Moor\"/>\n"
        ))
    };
    let stars = |text: &str| {
        let document = roxmltree::Document::parse(text).unwrap();
        let xmp = "http://ns.adobe.com/xap/1.0/";
        let element = document.descendants().find(|n| n.has_tag_name((xmp, "Rating"))).and_then(|n| n.text());
        let attribute = document.descendants().find_map(|n| n.attribute((xmp, "Rating")));
        assert!(document.descendants().any(|n| n.attribute((xmp, "Label")) == Some("Moor")));
        element.or(attribute).map(str::to_owned)
    };
    let five = with("xmp:Rating=\"5\"");
    assert_eq!(stars(&changed(&five, &sharp())).as_deref(), Some("5"));
    // The user's own stays unless all are to be replaced.
    assert_eq!(stars(&changed(&five, &rated(3, false))).as_deref(), Some("5"));
    assert_eq!(stars(&changed(&five, &rated(3, true))).as_deref(), Some("3"));
    assert_eq!(stars(&changed(&with("xmp:Rating=\"0\""), &rated(3, false))).as_deref(), Some("3"));
    let ours = changed(&with(""), &rated(3, false));
    assert_eq!(stars(&ours).as_deref(), Some("3"));
    // Ours follows the verdict, until the user changes it.
    assert_eq!(stars(&changed(&ours, &rated(1, false))).as_deref(), Some("1"));
    let theirs = ours.replace("<xmp:Rating>3<", "<xmp:Rating>4<");
    assert_eq!(stars(&changed(&theirs, &rated(1, false))).as_deref(), Some("4"));
    // Without being asked again, a rating of ours stays known as ours.
    let later = changed(&ours, &soft());
    assert_eq!(stars(&changed(&later, &rated(1, false))).as_deref(), Some("1"));
}

#[test]
fn what_is_no_sidecar_is_left_alone_and_told_why() {
    let usual = &zoo()[0].1;
    let utf16: Vec<u8> = usual.encode_utf16().flat_map(u16::to_le_bytes).collect();
    let marked: Vec<u8> = [0xFF, 0xFE].into_iter().chain(utf16.iter().copied()).collect();
    let latin = format!("<?xml version=\"1.0\" encoding=\"ISO-8859-1\"?>{usual}");
    let deep = format!("{}{}", "<a>".repeat(100_000), "</a>".repeat(100_000));
    let doubled = usual.replace("edit:Exposure", "edit:Curve");
    let cases: Vec<(Vec<u8>, &str)> = vec![
        (Vec::new(), "not well-formed"),
        (b"notes on the shoot".to_vec(), "not well-formed"),
        (usual[..usual.len() / 2].into(), "not well-formed"),
        (usual[..usual.len() - 4].into(), "not well-formed"),
        (usual.replace("</rdf:Bag>", "</rdf:bag>").into(), "not well-formed"),
        (usual.replace("&amp;", "&").into(), "not well-formed"),
        (usual.replace("xmlns:edit=", "xmlns:other=").into(), "not well-formed"),
        (doubled.into(), "not well-formed"),
        (format!("{usual}{usual}").into(), "not well-formed"),
        (format!("<!DOCTYPE a [<!ENTITY b \"c\">]>{usual}").into(), "document type"),
        (marked, "UTF-16"),
        (utf16, "UTF-16"),
        (latin.into(), "not in UTF-8"),
        (usual.replace("moor", "m\u{f6}\u{f6}r").chars().map(|c| c as u8).collect(), "not in UTF-8"),
        (b"<html><body>moor</body></html>".to_vec(), "not XMP"),
        (deep.into(), "not XMP"),
        (format!("{usual}<?xpacket end='r'?>").into(), "only be read"),
        (usual.replace("<dc:subject>", "<dc:subject rdf:parseType=\"Resource\">").into(), "form that is not known"),
        (usual.replace("rdf:Bag", "edit:Bag").into(), "form that is not known"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec(), "not in UTF-8"),
    ];
    for (bytes, why) in cases {
        let refused = merge(&bytes, &soft()).expect_err(why).to_string();
        assert!(
            refused.contains(why),
            "{refused}, not {why}: {}",
            String::from_utf8_lossy(&bytes[..bytes.len().min(200)])
        );
    }
}

#[test]
fn a_new_sidecar_is_whole() {
    let (bytes, change) = new(&rated(3, false)).unwrap();
    let text = String::from_utf8(bytes).unwrap();
    assert!(text.starts_with("<?xpacket begin=\"\u{feff}\""), "{text}");
    assert_eq!(read(&text).0, ["sharp-throughout"]);
    assert_eq!((change.put_in, change.rating), (vec!["sharp-throughout".into()], Some((None, 3))));
    assert_eq!(merge(text.as_bytes(), &rated(3, false)), Ok(SAME));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// Whatever is done to a packet, a merge gives a packet, or leaves it alone.
    #[test]
    fn damaged_packets_are_merged_whole_or_not_at_all(which in 0_usize..18, at in 0.0..1.0_f64, cut in 0_usize..9, put in "[<>/\"'& a:=\\n]{0,3}") {
        let zoo = zoo();
        let mut text = zoo[which % zoo.len()].1.clone();
        let mut start = (at * text.len() as f64) as usize;
        while !text.is_char_boundary(start) { start -= 1; }
        let mut end = (start + cut).min(text.len());
        while !text.is_char_boundary(end) { end += 1; }
        text.replace_range(start..end, &put);
        if let Ok(Merged::Changed { bytes, .. }) = merge(text.as_bytes(), &soft()) {
            let after = String::from_utf8(bytes).unwrap();
            prop_assert!(roxmltree::Document::parse(after.trim_start_matches('\u{feff}')).is_ok(), "{after}");
            prop_assert_eq!(merge(after.as_bytes(), &soft()), Ok(SAME));
        }
    }
}
