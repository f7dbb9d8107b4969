//! Pictures as an independent parser sees them.

use roxmltree::Document;

/// The markup as a document: what browsers take is well-formed XML, too, wherever it comes from us.
pub fn parsed(drawn: &str) -> Document<'_> {
    Document::parse(drawn).unwrap_or_else(|error| panic!("{error}: {drawn}"))
}

/// All text in the first element of that name.
pub fn text_of(drawn: &str, tag: &str) -> String {
    let document = parsed(drawn);
    let element = document.descendants().find(|node| node.has_tag_name(tag));
    let texts = element
        .unwrap()
        .descendants()
        .filter(roxmltree::Node::is_text);
    texts
        .filter_map(|node| node.text().map(str::to_owned))
        .collect()
}
