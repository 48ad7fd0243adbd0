//! Elements one by one, indented, with text and attributes escaped.

use std::io::{self, Write};

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

/// A document that is being written. The first fault of the place where it goes is kept until its end.
pub(super) struct Xml<'w> {
    out: Writer<&'w mut dyn Write>,
    done: io::Result<()>,
}

/// An attribute.
pub(super) type Attribute<'a> = (&'a str, &'a str);

impl<'w> Xml<'w> {
    pub(super) fn new(out: &'w mut dyn Write) -> Xml<'w> {
        let mut xml = Xml {
            out: Writer::new_with_indent(out, b' ', 1),
            done: Ok(()),
        };
        xml.put(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)));
        xml
    }

    fn put(&mut self, event: Event) {
        if self.done.is_ok() {
            self.done = self.out.write_event(event);
        }
    }

    pub(super) fn open(&mut self, name: &str, attributes: &[Attribute]) {
        self.put(Event::Start(tag(name, attributes)));
    }

    pub(super) fn close(&mut self, name: &str) {
        self.put(Event::End(BytesEnd::new(name)));
    }

    /// An element without content.
    pub(super) fn mark(&mut self, name: &str, attributes: &[Attribute]) {
        self.put(Event::Empty(tag(name, attributes)));
    }

    /// An element that holds text.
    pub(super) fn text(&mut self, name: &str, attributes: &[Attribute], text: &str) {
        let allowed: String = text.chars().filter(|c| is_allowed(*c)).collect();
        self.put(Event::Start(tag(name, attributes)));
        self.put(Event::Text(BytesText::new(&allowed)));
        self.put(Event::End(BytesEnd::new(name)));
    }

    /// An element that holds a number.
    pub(super) fn number(&mut self, name: &str, number: i64) {
        self.text(name, &[], &number.to_string());
    }

    /// Ends the document.
    pub(super) fn finish(self) -> io::Result<()> {
        self.done?;
        self.out.into_inner().write_all(b"\n")
    }
}

fn tag<'a>(name: &'a str, attributes: &[Attribute<'a>]) -> BytesStart<'a> {
    BytesStart::new(name).with_attributes(attributes.iter().copied())
}

/// XML forbids control characters and two others, however they are written.
fn is_allowed(c: char) -> bool {
    !c.is_control() && !matches!(c, '\u{fffe}' | '\u{ffff}')
}
