//! Staff pages (SVG) -> one PDF, a page each **[P: ISO 32000-1, PDF 1.7]**.
//!
//! Reads what the staff pages are made of: rectangles, paths, outlines drawn by name, words. Words stay words, in
//! Helvetica and its bold face, which every reader has; outlines are drawn once and used again. A general converter
//! would look for fonts on the machine, so its bytes would differ from one to the next. Nothing in the file tells
//! when it was made: the same pages give the same bytes.

mod path;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use pdf_writer::{Content, Filter, Finish, Name, Pdf, Rect, Ref, Str, TextStr};
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use super::letters;

/// Points in a tenth of a millimetre \[=\].
const POINTS: f32 = 72.0 / 254.0;

/// An element with its attributes.
type Attributes = BTreeMap<String, String>;

/// What is drawn on a page, in order.
#[derive(Debug, Default)]
struct Page {
    title: String,
    size: (f32, f32),
    /// Outlines by name: the factor of their size, their path.
    outlines: BTreeMap<String, (f32, String)>,
    items: Vec<(Item, Attributes)>,
}

#[derive(Debug)]
enum Item {
    Rect,
    Path,
    Use,
    Text(String),
}

/// Puts pages into one document.
pub fn write(svgs: &[&str]) -> Vec<u8> {
    let mut document = Document::default();
    svgs.iter().for_each(|svg| document.add(svg));
    document.finish()
}

/// A document that is being put together page by page, of which it keeps no more than what goes into the file.
#[derive(Debug, Default)]
pub struct Document {
    outlines: BTreeMap<String, (f32, String)>,
    pages: Vec<Drawn>,
}

/// A page as it stands in the file.
#[derive(Debug)]
struct Drawn {
    title: String,
    size: (f32, f32),
    /// Names of the outlines that it may use.
    outlines: Vec<String>,
    /// What is drawn, packed.
    content: Vec<u8>,
}

impl Document {
    /// Adds a page.
    pub fn add(&mut self, svg: &str) {
        let page = read(svg);
        self.pages.push(Drawn {
            content: miniz_oxide::deflate::compress_to_vec_zlib(&draw(&page), 6),
            title: page.title,
            size: page.size,
            outlines: page.outlines.keys().cloned().collect(),
        });
        for (name, outline) in page.outlines {
            self.outlines.entry(name).or_insert(outline);
        }
    }

    /// The bytes of the document.
    pub fn finish(self) -> Vec<u8> {
        let mut next = 0;
        let mut id = || {
            next += 1;
            Ref::new(next)
        };
        let (catalog, tree, info, plain, bold) = (id(), id(), id(), id(), id());
        let mut pdf = Pdf::new();
        pdf.catalog(catalog).pages(tree);
        for (font, name) in [(plain, &b"Helvetica"[..]), (bold, b"Helvetica-Bold")] {
            let mut font = pdf.type1_font(font);
            font.base_font(Name(name));
            font.encoding_predefined(Name(b"WinAnsiEncoding"));
        }
        let outlines: BTreeMap<&String, Ref> = self.outlines.keys().map(|name| (name, id())).collect();
        for (outline, (scale, path)) in outlines.values().zip(self.outlines.values()) {
            form(&mut pdf, *outline, *scale, path);
        }
        let ids: Vec<(Ref, Ref)> = self.pages.iter().map(|_| (id(), id())).collect();
        pdf.pages(tree)
            .kids(ids.iter().map(|(page, _)| *page))
            .count(ids.len() as i32);
        for (page, (own, content)) in self.pages.iter().zip(&ids) {
            let mut writer = pdf.page(*own);
            writer.parent(tree);
            writer.media_box(Rect::new(0.0, 0.0, page.size.0 * POINTS, page.size.1 * POINTS));
            writer.contents(*content);
            let mut resources = writer.resources();
            resources.fonts().pair(Name(b"F1"), plain).pair(Name(b"F2"), bold);
            let mut forms = resources.x_objects();
            for name in &page.outlines {
                if let Some(outline) = outlines.get(name) {
                    forms.pair(Name(name.as_bytes()), *outline);
                }
            }
            forms.finish();
            resources.finish();
            writer.finish();
            pdf.stream(*content, &page.content).filter(Filter::FlateDecode);
        }
        let title = self.pages.first().map(|page| page.title.as_str());
        let mut facts = pdf.document_info(info);
        facts
            .title(TextStr(title.unwrap_or_default()))
            .creator(TextStr("Overbar"));
        facts.finish();
        pdf.finish()
    }
}

/// An outline that pages use by name.
fn form(pdf: &mut Pdf, id: Ref, scale: f32, path: &str) {
    let mut content = Content::new();
    content.transform([scale, 0.0, 0.0, scale, 0.0, 0.0]);
    path::trace(&mut content, path);
    content.fill_nonzero();
    let bytes = content.finish();
    // As large as any outline of the font.
    let box_of = Rect::new(-200.0, -200.0, 200.0, 200.0);
    pdf.form_xobject(id, &bytes).bbox(box_of);
}

/// Reads a page; what the staff pages do not have is passed over.
fn read(svg: &str) -> Page {
    let mut page = Page::default();
    let mut reader = Reader::from_str(svg);
    let mut defining = false;
    let mut inside: Option<(String, Attributes, String)> = None;
    loop {
        match reader.read_event() {
            Ok(Event::Start(tag)) => {
                let name = tag.local_name().as_ref().to_owned();
                match name.as_str() {
                    "defs" => defining = true,
                    "svg" => page.size = size(&attributes(&tag)),
                    "use" => page.put("use", attributes(&tag), defining),
                    _ => {}
                }
                if name == "text" || (name == "title" && inside.is_none()) {
                    inside = Some((name, attributes(&tag), String::new()));
                }
            }
            Ok(Event::Empty(tag)) => {
                let name = tag.local_name().as_ref().to_owned();
                page.put(&name, attributes(&tag), defining);
            }
            Ok(Event::Text(text)) => {
                if let Some((.., words)) = &mut inside {
                    words.push_str(&text);
                }
            }
            Ok(Event::GeneralRef(reference)) => {
                if let Some((.., words)) = &mut inside {
                    words.push_str(entity(&reference));
                }
            }
            Ok(Event::End(tag)) => {
                if tag.local_name().as_ref() == "defs" {
                    defining = false;
                }
                if inside
                    .as_ref()
                    .is_some_and(|(name, ..)| name == tag.local_name().as_ref())
                {
                    match inside.take() {
                        Some((name, attributes, words)) if name == "text" => {
                            page.items.push((Item::Text(words), attributes));
                        }
                        // The first title is the page's own; those of notes follow.
                        Some((_, _, words)) if page.title.is_empty() => page.title = words,
                        _ => {}
                    }
                }
            }
            Ok(Event::Eof) | Err(_) => break,
            _ => {}
        }
    }
    page
}

impl Page {
    fn put(&mut self, name: &str, attributes: Attributes, defining: bool) {
        let item = match name {
            "path" if defining => {
                let scale = attributes
                    .get("transform")
                    .map(|t| t.trim_matches(|c: char| !c.is_ascii_digit()));
                let scale = scale.and_then(|scale| scale.parse().ok()).unwrap_or(1.0);
                if let (Some(id), Some(path)) = (attributes.get("id"), attributes.get("d")) {
                    self.outlines.insert(id.clone(), (scale, path.clone()));
                }
                return;
            }
            "path" => Item::Path,
            "rect" => Item::Rect,
            "use" => Item::Use,
            _ => return,
        };
        self.items.push((item, attributes));
    }
}

fn attributes(tag: &BytesStart) -> Attributes {
    let all = tag.attributes().flatten();
    all.map(|a| (a.key.as_ref().to_owned(), a.value.to_string()))
        .collect()
}

fn entity(name: &str) -> &'static str {
    match name {
        "amp" => "&",
        "lt" => "<",
        "gt" => ">",
        "quot" => "\"",
        _ => "",
    }
}

fn size(attributes: &Attributes) -> (f32, f32) {
    let numbers = attributes
        .get("viewBox")
        .map(String::as_str)
        .unwrap_or_default()
        .split(' ');
    let numbers: Vec<f32> = numbers.filter_map(|n| n.parse().ok()).collect();
    match numbers.as_slice() {
        [_, _, width, height] => (*width, *height),
        _ => (0.0, 0.0),
    }
}

/// An attribute as a number.
fn number(attributes: &Attributes, name: &str) -> f32 {
    attributes.get(name).and_then(|n| n.parse().ok()).unwrap_or(0.0)
}

/// A colour such as `#0072b2`; black without one, none for `none`.
fn colour(attributes: &Attributes, name: &str) -> Option<[f32; 3]> {
    let Some(given) = attributes.get(name) else {
        return (name == "fill").then_some([0.0; 3]);
    };
    let code = u32::from_str_radix(given.strip_prefix('#')?, 16).ok()?;
    Some([16, 8, 0].map(|shift| (code >> shift & 0xff) as f32 / 255.0))
}

/// The page's drawing: in tenths of a millimetre, y down, as the SVG has it.
fn draw(page: &Page) -> Vec<u8> {
    let mut content = Content::new();
    content.transform([POINTS, 0.0, 0.0, -POINTS, 0.0, page.size.1 * POINTS]);
    for (item, attributes) in &page.items {
        let at = |name| number(attributes, name);
        let [r, g, b] = colour(attributes, "fill").unwrap_or_default();
        match item {
            Item::Rect => {
                content.set_fill_rgb(r, g, b);
                content.rect(at("x"), at("y"), at("width"), at("height"));
                content.fill_nonzero();
            }
            Item::Path => {
                let path = attributes.get("d").map(String::as_str).unwrap_or_default();
                if let Some([r, g, b]) = colour(attributes, "stroke") {
                    content.set_stroke_rgb(r, g, b);
                    content.set_line_width(at("stroke-width"));
                    path::trace(&mut content, path);
                    content.stroke();
                } else {
                    content.set_fill_rgb(r, g, b);
                    path::trace(&mut content, path);
                    content.fill_nonzero();
                }
            }
            Item::Use => {
                let name = attributes
                    .get("href")
                    .map(|href| href.trim_start_matches('#'))
                    .unwrap_or_default();
                content.save_state();
                content.set_fill_rgb(r, g, b);
                content.transform([1.0, 0.0, 0.0, 1.0, at("x"), at("y")]);
                content.x_object(Name(name.as_bytes()));
                content.restore_state();
            }
            Item::Text(words) => text(&mut content, words, attributes, [r, g, b]),
        }
    }
    content.finish().to_vec()
}

fn text(content: &mut Content, words: &str, attributes: &Attributes, [r, g, b]: [f32; 3]) {
    let (size, bold) = (
        number(attributes, "font-size"),
        attributes.contains_key("font-weight"),
    );
    let wide = letters::width(words, f64::from(size), bold) as f32;
    let before = match attributes.get("text-anchor").map(String::as_str) {
        Some("middle") => 0.5 * wide,
        Some("end") => wide,
        _ => 0.0,
    };
    let (x, y) = (number(attributes, "x") - before, number(attributes, "y"));
    content.set_fill_rgb(r, g, b);
    content.begin_text();
    content.set_font(Name(if bold { b"F2" } else { b"F1" }), size);
    content.set_text_matrix([1.0, 0.0, 0.0, -1.0, x, y]);
    content.show(Str(&win_ansi(words)));
    content.end_text();
}

/// Words in the encoding of Windows 1252; characters that it lacks become question marks.
fn win_ansi(words: &str) -> Vec<u8> {
    let of = |c: char| match c {
        ' '..='~' | '\u{a0}'..='\u{ff}' => c as u8,
        '…' => 0x85,
        '‘' => 0x91,
        '’' => 0x92,
        '“' => 0x93,
        '”' => 0x94,
        '–' => 0x96,
        '—' => 0x97,
        '€' => 0x80,
        _ => b'?',
    };
    words.chars().map(of).collect()
}
