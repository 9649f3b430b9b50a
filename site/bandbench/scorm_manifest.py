"""The manifest of a SCORM 1.2 package: one organisation, one item, one resource with every file of the site."""

from __future__ import annotations

from xml.etree import ElementTree

from bandbench.package import START, Packaged

__all__ = ["MANIFEST_NAME", "manifest_files"]

MANIFEST_NAME = "imsmanifest.xml"

# QUOTED, SCORM 1.2 Content Aggregation Model: names, namespaces and the files of their schemas.
_CONTENT = "http://www.imsproject.org/xsd/imscp_rootv1p1p2"
_ADDED = "http://www.adlnet.org/xsd/adlcp_rootv1p2"
_INSTANCE = "http://www.w3.org/2001/XMLSchema-instance"
_SCHEMA_PLACES = f"{_CONTENT} imscp_rootv1p1p2.xsd {_ADDED} adlcp_rootv1p2.xsd"


def manifest_files(packaged: Packaged) -> dict[str, bytes]:
    """Return ``imsmanifest.xml`` by its name.

    No mastery score stands in it: a learning system that has one overrules the status at the end of every visit, with
    whatever score it then has, even of an attempt that was only broken off.
    """
    of_lesson = f".lesson.{packaged.lesson.id}" if packaged.lesson else ".course"
    root = ElementTree.Element(
        "manifest",
        {
            "identifier": f"bandbench{of_lesson}",
            "version": "1.0",
            "xmlns": _CONTENT,
            "xmlns:adlcp": _ADDED,
            "xmlns:xsi": _INSTANCE,
            "xsi:schemaLocation": _SCHEMA_PLACES,
        },
    )
    metadata = ElementTree.SubElement(root, "metadata")
    ElementTree.SubElement(metadata, "schema").text = "ADL SCORM"
    ElementTree.SubElement(metadata, "schemaversion").text = "1.2"
    organizations = ElementTree.SubElement(root, "organizations", {"default": "bandbench"})
    organization = ElementTree.SubElement(organizations, "organization", {"identifier": "bandbench"})
    ElementTree.SubElement(organization, "title").text = packaged.title
    item = ElementTree.SubElement(
        organization, "item", {"identifier": "bench", "identifierref": "site", "isvisible": "true"}
    )
    ElementTree.SubElement(item, "title").text = packaged.title
    if packaged.lesson:
        # A school that edits it chooses another lesson of a package of the whole course.
        ElementTree.SubElement(item, "adlcp:datafromlms").text = f"lesson={packaged.lesson.id}"
    resources = ElementTree.SubElement(root, "resources")
    resource = ElementTree.SubElement(
        resources,
        "resource",
        {"identifier": "site", "type": "webcontent", "adlcp:scormtype": "sco", "href": START},
    )
    for path in packaged.files:
        ElementTree.SubElement(resource, "file", {"href": path})
    ElementTree.indent(root)
    return {MANIFEST_NAME: ElementTree.tostring(root, encoding="utf-8", xml_declaration=True)}
