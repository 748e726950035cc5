"""Sidecars as two independent readers of XMP see them: Exiv2 (through pyexiv2) and an RDF/XML parser (rdflib).

    sidecars.py TUSSOCK

Writes sidecars of several forms beside copies of a photograph, lets `tussock audit --sidecars` merge into them, and checks with
both readers that whatever was there is there still, that our keywords and numbers have come, and that the two agree.
"""
import pathlib
import shutil
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ElementTree

import pyexiv2
import rdflib

ROOT = pathlib.Path(__file__).resolve().parents[2]
RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
DC = rdflib.Namespace("http://purl.org/dc/elements/1.1/")
OURS = "urn:x-tussock:sharpness:1#"
# So that Exiv2 gives our properties the name they have in the file.
pyexiv2.registerNs(OURS, "tussock")
pyexiv2.registerNs("http://edits.invalid/1/", "edits")

HEAD = f'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="{RDF}">'
TAIL = "</rdf:RDF></x:xmpmeta>"
DC_NS = 'xmlns:dc="http://purl.org/dc/elements/1.1/"'
EDITS = 'xmlns:edits="http://edits.invalid/1/"'
BAG = "<dc:subject><rdf:Bag><rdf:li>moor</rdf:li><rdf:li>a &amp; b</rdf:li></rdf:Bag></dc:subject>"
TITLE = '<dc:title><rdf:Alt><rdf:li xml:lang="x-default">Heath</rdf:li><rdf:li xml:lang="de">Heide</rdf:li></rdf:Alt></dc:title>'
FORMS = {
    "none": None,
    "bag": f'{HEAD}\n <rdf:Description rdf:about="" {DC_NS} {EDITS} edits:Tone="0, 0, 255">\n  {TITLE}\n  {BAG}\n </rdf:Description>\n{TAIL}',
    "no-list": f'{HEAD}<rdf:Description rdf:about="" {EDITS} edits:Tone="1" edits:Curve="2"/>{TAIL}',
    "two": f'{HEAD}<rdf:Description rdf:about="" {EDITS} edits:Tone="1"/><rdf:Description rdf:about="" {DC_NS}>{BAG}{TITLE}</rdf:Description>{TAIL}',
    "struct": f'{HEAD}<rdf:Description rdf:about="" {EDITS} {DC_NS}><edits:Mask rdf:parseType="Resource"><edits:Feather>3</edits:Feather>'
              f"</edits:Mask><edits:Steps><rdf:Seq><rdf:li>one</rdf:li><rdf:li>two</rdf:li></rdf:Seq></edits:Steps>{BAG}</rdf:Description>{TAIL}",
    "attribute": f'{HEAD}<rdf:Description rdf:about="" {EDITS} {DC_NS} edits:Tone="1"/>{TAIL}',
    "wrapped": f'\ufeff<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\r\n{HEAD}\r\n<rdf:Description rdf:about="" {DC_NS}>\r\n{BAG}\r\n'
               f"</rdf:Description>\r\n{TAIL}\r\n{' ' * 500}\r\n<?xpacket end=\"w\"?>",
}


def by_exiv2(path):
    with pyexiv2.Image(str(path)) as image:
        return image.read_xmp()


def by_rdf(path):
    root = ElementTree.fromstring(path.read_bytes().lstrip(b"\xef\xbb\xbf"))
    rdf = root if root.tag == f"{{{RDF}}}RDF" else root.find(f"{{{RDF}}}RDF")
    graph = rdflib.Graph()
    graph.parse(data=ElementTree.tostring(rdf, encoding="unicode"), format="xml", publicID="file:///frame")
    return graph


def keywords(graph):
    return sorted(str(item) for bag in graph.objects(None, DC.subject)
                  for p, item in graph.predicate_objects(bag) if str(p).startswith(RDF + "_"))


def facts(graph):
    """Properties with plain values, ours and the keywords left out."""
    bags = set(graph.objects(None, DC.subject))
    return sorted((str(p), str(o)) for s, p, o in graph
                  if isinstance(o, rdflib.Literal) and s not in bags and not str(p).startswith(OURS))


def ours(graph):
    return {str(p)[len(OURS):]: str(o) for p, o in graph.predicate_objects() if str(p).startswith(OURS)}


def main():
    tussock = pathlib.Path(sys.argv[1]).resolve()
    with tempfile.TemporaryDirectory() as folder:
        shoot = pathlib.Path(folder, "shoot")
        shoot.mkdir()
        for name, text in FORMS.items():
            shutil.copy(ROOT / "fixtures/jpeg/baseline.jpg", shoot / f"{name}.jpg")
            if text is not None:
                (shoot / f"{name}.xmp").write_bytes(text.encode())
        # One that Exiv2 itself wrote.
        shutil.copy(ROOT / "fixtures/jpeg/baseline.jpg", shoot / "exiv2.jpg")
        (shoot / "exiv2.xmp").write_text(FORMS["no-list"])
        with pyexiv2.Image(str(shoot / "exiv2.xmp")) as image:
            image.modify_xmp({"Xmp.dc.subject": ["moor", "heath"], "Xmp.xmp.Rating": "4", "Xmp.dc.description": {"lang=\"x-default\"": "Low sun"}})
        before = {p.stem: (by_exiv2(p), by_rdf(p)) for p in shoot.glob("*.xmp")}
        for _ in range(2):
            subprocess.run([tussock, "audit", shoot, "--sidecars", "--no-page", "--no-cache", "--out", pathlib.Path(folder, "out")],
                           check=True, capture_output=True)
        for path in sorted(shoot.glob("*.xmp")):
            one, two = by_exiv2(path), by_rdf(path)
            was, was_rdf = before.get(path.stem, ({}, rdflib.Graph()))
            old = {k: v for k, v in was.items() if k != "Xmp.dc.subject"}
            new = {k: v for k, v in one.items() if k != "Xmp.dc.subject" and not k.startswith("Xmp.tussock.")}
            assert new == old, (path.stem, new, old)
            assert facts(two) == facts(was_rdf), path.stem
            now, had = one["Xmp.dc.subject"], was.get("Xmp.dc.subject", [])
            assert now[:len(had)] == had and len(now) > len(had), (path.stem, had, now)
            assert keywords(two) == sorted(now), (path.stem, keywords(two), now)
            told = {k.removeprefix("Xmp.tussock."): v for k, v in one.items() if k.startswith("Xmp.tussock.")}
            assert told == ours(two) and told["keywords"].split(", ") == now[len(had):] and "sentence" in told, (path.stem, told, ours(two))
            print(f"{path.stem}: {len(old)} properties kept, {len(had)} keywords kept, {len(told)} properties and {now[len(had):]} new")


main()
