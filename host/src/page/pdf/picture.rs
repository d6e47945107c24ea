//! In: an SVG of this program. Out: its lines and shapes on a surface of a PDF, letters as shapes too.

use krilla::geom::{Path, PathBuilder, Transform};
use krilla::num::NormalizedF32;
use krilla::paint::{Fill, FillRule, LineCap, LineJoin, Stroke, StrokeDash};
use krilla::surface::Surface;
use resvg::tiny_skia::{Path as SkiaPath, PathSegment};
use resvg::usvg;

/// Draws all of a tree.
pub(super) fn draw(surface: &mut Surface, group: &usvg::Group) {
    surface.push_transform(&transform(group.transform()));
    let clip = group.clip_path().and_then(|clip| clip_path(clip.root()));
    if let Some(path) = &clip {
        surface.push_clip_path(path, &FillRule::NonZero);
    }
    for node in group.children() {
        match node {
            usvg::Node::Group(group) => draw(surface, group),
            usvg::Node::Path(path) => shape(surface, path),
            usvg::Node::Text(text) => draw(surface, text.flattened()),
            // The pictures of this program have none.
            usvg::Node::Image(_) => {}
        }
    }
    if clip.is_some() {
        surface.pop();
    }
    surface.pop();
}

/// The first path of a clip, which is all that the canvas writes.
fn clip_path(group: &usvg::Group) -> Option<Path> {
    group.children().iter().find_map(|node| match node {
        usvg::Node::Path(path) => outline(path.data()),
        usvg::Node::Group(group) => clip_path(group),
        _ => None,
    })
}

/// A path: its fill over its stroke or the other way round, as it wishes.
fn shape(surface: &mut Surface, path: &usvg::Path) {
    let Some(data) = outline(path.data()) else { return };
    let stroke_first = path.paint_order() == usvg::PaintOrder::StrokeAndFill;
    for is_stroke in [stroke_first, !stroke_first] {
        surface.set_fill(path.fill().filter(|_| !is_stroke).map(fill));
        surface.set_stroke(path.stroke().filter(|_| is_stroke).map(stroke));
        if (is_stroke && path.stroke().is_some()) || (!is_stroke && path.fill().is_some()) {
            surface.draw_path(&data);
        }
    }
    surface.set_fill(None);
    surface.set_stroke(None);
}

fn transform(from: usvg::Transform) -> Transform {
    Transform::from_row(from.sx, from.ky, from.kx, from.sy, from.tx, from.ty)
}

fn outline(path: &SkiaPath) -> Option<Path> {
    let mut builder = PathBuilder::new();
    for segment in path.segments() {
        match segment {
            PathSegment::MoveTo(to) => builder.move_to(to.x, to.y),
            PathSegment::LineTo(to) => builder.line_to(to.x, to.y),
            PathSegment::QuadTo(one, to) => builder.quad_to(one.x, one.y, to.x, to.y),
            PathSegment::CubicTo(one, two, to) => builder.cubic_to(one.x, one.y, two.x, two.y, to.x, to.y),
            PathSegment::Close => builder.close(),
        }
    }
    builder.finish()
}

/// A colour; the pictures of this program have no other paint.
fn paint(paint: &usvg::Paint) -> krilla::paint::Paint {
    let colour = if let usvg::Paint::Color(colour) = paint { *colour } else { usvg::Color::black() };
    krilla::color::rgb::Color::new(colour.red, colour.green, colour.blue).into()
}

fn opacity(opacity: usvg::Opacity) -> NormalizedF32 {
    NormalizedF32::new(opacity.get()).unwrap_or(NormalizedF32::ONE)
}

fn fill(of: &usvg::Fill) -> Fill {
    let rule = match of.rule() {
        usvg::FillRule::NonZero => FillRule::NonZero,
        usvg::FillRule::EvenOdd => FillRule::EvenOdd,
    };
    Fill { paint: paint(of.paint()), opacity: opacity(of.opacity()), rule }
}

fn stroke(of: &usvg::Stroke) -> Stroke {
    let line_join = match of.linejoin() {
        usvg::LineJoin::Round => LineJoin::Round,
        usvg::LineJoin::Bevel => LineJoin::Bevel,
        _ => LineJoin::Miter,
    };
    let line_cap = match of.linecap() {
        usvg::LineCap::Butt => LineCap::Butt,
        usvg::LineCap::Round => LineCap::Round,
        usvg::LineCap::Square => LineCap::Square,
    };
    let dash = of.dasharray().map(|array| StrokeDash { array: array.to_vec(), offset: of.dashoffset() });
    Stroke {
        paint: paint(of.paint()),
        width: of.width().get(),
        miter_limit: of.miterlimit().get(),
        line_cap,
        line_join,
        opacity: opacity(of.opacity()),
        dash,
    }
}
