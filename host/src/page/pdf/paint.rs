//! In: what stands where. Out: the bytes of the PDF.

use std::num::{NonZeroU16, NonZeroU32};

use krilla::Document;
use krilla::SerializeSettings;
use krilla::configure::{Accessibility, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::geom::{Path, PathBuilder, Point, Rect, Transform};
use krilla::metadata::Metadata;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke};
use krilla::surface::Surface;
use krilla::tagging::{
    Artifact, ArtifactType, ContentTag, Identifier, ListNumbering, Node, SpanTag, TableHeaderScope,
    Tag as PdfTag, TagGroup, TagKind, TagTree,
};
use resvg::usvg::Tree;

use super::failed;
use super::font::Fonts;
use super::layout::Laid;
use super::picture;
use super::sheets::{Child, Mark, Placed, Role, Tag};
use crate::error::Error;
use crate::page::model::{Block, Page, Sign};
use crate::page::paper::Paper;
use crate::plot;

/// What of the file each leaf of the tree of tags is.
type Leaves = Vec<Vec<Identifier>>;

/// Paints all sheets.
pub(super) fn painted(laid: &Laid, page: &Page, paper: Paper, fonts: &Fonts) -> Result<Vec<u8>, Error> {
    let pictures = page.blocks.iter().filter_map(|block| match block {
        Block::Picture(drawn) => Some(plot::tree(&drawn.svg)),
        _ => None,
    });
    let pictures: Vec<Tree> = pictures.collect::<Result<_, _>>()?;
    let configuration = ConfigurationBuilder::new().with_accessibility_validator(Accessibility::UA1).finish();
    let configuration = configuration.map_err(|error| failed(format!("{error:?}")))?;
    let mut document =
        Document::new_with(SerializeSettings { configuration, ..SerializeSettings::default() });
    let mut leaves = Leaves::new();
    let (width, height) = paper.size();
    for sheet in &laid.sheets {
        let settings =
            PageSettings::from_wh(width as f32, height as f32).ok_or_else(|| failed("no paper"))?;
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        sheet.iter().for_each(|placed| put(&mut surface, placed, fonts, &pictures, &mut leaves));
        surface.finish();
        page.finish();
    }
    let mut tree = TagTree::new().with_lang(Some("en".to_owned()));
    for child in &laid.tree.children {
        if let Child::Tag(tag) = child {
            tree.push(Node::Group(group(tag, &mut leaves)));
        }
    }
    document.set_tag_tree(tree);
    document.set_outline(outline(laid));
    let title = fonts.shown(&format!("{}: {}", page.about, page.heading));
    document.set_metadata(
        Metadata::new().title(title).language("en".to_owned()).creator("Stillpoint".to_owned()),
    );
    document.finish().map_err(|error| failed(format!("{error:?}")))
}

/// Draws one mark as a part of its leaf, or as decoration.
fn put(surface: &mut Surface, placed: &Placed, fonts: &Fonts, pictures: &[Tree], leaves: &mut Leaves) {
    let tag = match (placed.leaf, &placed.mark) {
        (None, _) => ContentTag::Artifact(Artifact::with_kind(ArtifactType::Layout)),
        (Some(_), Mark::Text { .. }) => ContentTag::Span(SpanTag::empty()),
        (Some(_), _) => ContentTag::Other,
    };
    let identifier = surface.start_tagged(tag);
    mark(surface, &placed.mark, fonts, pictures);
    surface.end_tagged();
    if let Some(leaf) = placed.leaf {
        leaves.resize_with(leaves.len().max(leaf + 1), Vec::new);
        leaves[leaf].push(identifier);
    }
}

fn mark(surface: &mut Surface, mark: &Mark, fonts: &Fonts, pictures: &[Tree]) {
    match mark {
        Mark::Text { at, style, text } => {
            let face = fonts.face(style.is_bold);
            surface.set_fill(Some(Fill::default()));
            surface.set_stroke(None);
            let (text, glyphs) = (text.as_str(), face.glyphs(text));
            surface.draw_glyphs(point(*at), &glyphs, face.font.clone(), text, style.size as f32, false);
        }
        Mark::Line { from, to, width } => stroked(surface, lines(&[*from, *to]), *width),
        Mark::Frame { at, size } => {
            let rectangle = Rect::from_xywh(at.0 as f32, at.1 as f32, size.0 as f32, size.1 as f32);
            let mut path = PathBuilder::new();
            rectangle.into_iter().for_each(|rectangle| path.push_rect(rectangle));
            stroked(surface, path.finish(), 1.5);
        }
        Mark::Sign { at, size, sign } => {
            // Strokes in 24ths of the sign, as in HTML.
            let place = |(x, y): (f64, f64)| (at.0 + x * size / 24.0, at.1 + y * size / 24.0);
            let strokes: &[&[(f64, f64)]] = match sign {
                Sign::Pass => &[&[(3.0, 12.5), (9.0, 19.0), (21.0, 5.0)]],
                Sign::Fail => &[&[(4.5, 4.5), (19.5, 19.5)], &[(19.5, 4.5), (4.5, 19.5)]],
                Sign::Plain => &[],
            };
            for stroke in strokes {
                let points: Vec<(f64, f64)> = stroke.iter().copied().map(place).collect();
                stroked(surface, lines(&points), size / 8.0);
            }
        }
        Mark::Picture { at, width, number } => {
            let Some(tree) = pictures.get(*number) else { return };
            let scale = *width as f32 / tree.size().width();
            let placed = Transform::from_row(scale, 0.0, 0.0, scale, at.0 as f32, at.1 as f32);
            surface.push_transform(&placed);
            picture::draw(surface, tree.root());
            surface.pop();
        }
    }
}

fn point((x, y): (f64, f64)) -> Point {
    Point::from_xy(x as f32, y as f32)
}

fn lines(points: &[(f64, f64)]) -> Option<Path> {
    let mut path = PathBuilder::new();
    for (at, (x, y)) in points.iter().enumerate() {
        if at == 0 { path.move_to(*x as f32, *y as f32) } else { path.line_to(*x as f32, *y as f32) }
    }
    path.finish()
}

fn stroked(surface: &mut Surface, path: Option<Path>, width: f64) {
    surface.set_fill(None);
    surface.set_stroke(Some(Stroke { width: width as f32, ..Stroke::default() }));
    path.iter().for_each(|path| surface.draw_path(path));
}

/// A node of the tree of tags with all that it marks.
fn group(tag: &Tag, leaves: &mut Leaves) -> TagGroup {
    let mut group = TagGroup::new(kind(&tag.role));
    for child in &tag.children {
        match child {
            Child::Tag(tag) => group.push(Node::Group(self::group(tag, leaves))),
            Child::Leaf(leaf) => {
                let marked = leaves.get_mut(*leaf).map(std::mem::take).unwrap_or_default();
                marked.into_iter().for_each(|identifier| group.push(Node::Leaf(identifier)));
            }
        }
    }
    group
}

fn kind(role: &Role) -> TagKind {
    match role {
        Role::Document => PdfTag::Div.into(),
        Role::Heading { level, title } => {
            PdfTag::Hn(NonZeroU16::new(*level).unwrap_or(NonZeroU16::MIN), Some(title.clone())).into()
        }
        Role::Paragraph => PdfTag::P.into(),
        Role::List => PdfTag::L(ListNumbering::None).into(),
        Role::Item => PdfTag::LI.into(),
        Role::Table => PdfTag::Table.into(),
        Role::TableHead => PdfTag::THead.into(),
        Role::TableBody => PdfTag::TBody.into(),
        Role::Row => PdfTag::TR.into(),
        Role::ColumnHeading => PdfTag::TH(TableHeaderScope::Column).into(),
        Role::RowHeading => PdfTag::TH(TableHeaderScope::Row).into(),
        Role::Cell(columns) => {
            PdfTag::TD.with_col_span(NonZeroU32::new(*columns).filter(|columns| columns.get() > 1)).into()
        }
        Role::Figure(alternative) => PdfTag::Figure(Some(alternative.clone())).into(),
    }
}

fn outline(laid: &Laid) -> Outline {
    let mut outline = Outline::new();
    for (text, sheet, y) in &laid.outline {
        let destination = XyzDestination::new(*sheet, point((0.0, *y)));
        outline.push_child(OutlineNode::new(text.clone(), destination));
    }
    outline
}
