//! Elements one by one, indented, with text and attributes escaped.

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

/// A document that is being written. Writing to memory cannot fail, so no result is passed on.
pub(super) struct Xml {
    out: Writer<Vec<u8>>,
}

/// An attribute.
pub(super) type Attribute<'a> = (&'a str, &'a str);

impl Xml {
    pub(super) fn new() -> Xml {
        let mut out = Writer::new_with_indent(Vec::new(), b' ', 1);
        let _ = out.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)));
        Xml { out }
    }

    pub(super) fn open(&mut self, name: &str, attributes: &[Attribute]) {
        let _ = self.out.write_event(Event::Start(tag(name, attributes)));
    }

    pub(super) fn close(&mut self, name: &str) {
        let _ = self.out.write_event(Event::End(BytesEnd::new(name)));
    }

    /// An element without content.
    pub(super) fn mark(&mut self, name: &str, attributes: &[Attribute]) {
        let _ = self.out.write_event(Event::Empty(tag(name, attributes)));
    }

    /// An element that holds text.
    pub(super) fn text(&mut self, name: &str, attributes: &[Attribute], text: &str) {
        let allowed: String = text.chars().filter(|c| is_allowed(*c)).collect();
        let _ = self.out.write_event(Event::Start(tag(name, attributes)));
        let _ = self.out.write_event(Event::Text(BytesText::new(&allowed)));
        let _ = self.out.write_event(Event::End(BytesEnd::new(name)));
    }

    /// An element that holds a number.
    pub(super) fn number(&mut self, name: &str, number: i64) {
        self.text(name, &[], &number.to_string());
    }

    /// The whole document.
    pub(super) fn finish(self) -> String {
        let mut bytes = self.out.into_inner();
        bytes.push(b'\n');
        String::from_utf8(bytes).unwrap_or_default()
    }
}

fn tag<'a>(name: &'a str, attributes: &[Attribute<'a>]) -> BytesStart<'a> {
    BytesStart::new(name).with_attributes(attributes.iter().copied())
}

/// XML forbids control characters and two others, however they are written.
fn is_allowed(c: char) -> bool {
    !c.is_control() && !matches!(c, '\u{fffe}' | '\u{ffff}')
}
