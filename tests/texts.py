"""The texts of a figure as they are drawn: which overlap, and which stick out of it."""

from itertools import combinations

from matplotlib.backends.backend_agg import FigureCanvasAgg


def drawn_texts(figure):
    """Every text that is drawn, with its box in pixels: [(text, bbox)]."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    found = []
    for axes in figure.axes:
        texts = [axes.title, axes._left_title, axes._right_title, *axes.texts]
        legend = axes.get_legend()
        texts += [] if legend is None else [*legend.get_texts(), legend.get_title()]
        for axis in (axes.xaxis, axes.yaxis):
            if axes.axison and axis.get_visible():
                texts += [axis.label, axis.offsetText]
                texts += [tick.label1 for tick in axis._update_ticks() if tick.label1.get_visible()]
        found += [text for text in texts if text.get_visible() and text.get_text().strip()]
    found += [text for text in figure.texts if text.get_text().strip()]
    return [(text.get_text(), text.get_window_extent(renderer)) for text in found]


def overlapping(texts, slack=1.5):
    """Pairs of drawn texts whose boxes overlap by more than so many pixels both ways."""
    pairs = []
    for (one, a), (other, b) in combinations(texts, 2):
        across = min(a.x1, b.x1) - max(a.x0, b.x0)
        down = min(a.y1, b.y1) - max(a.y0, b.y0)
        if across > slack and down > slack:
            pairs.append((one, other))
    return pairs


def outside(texts, box, slack=1.5):
    """Drawn texts that do not lie within the figure's box."""
    return [
        text
        for text, b in texts
        if b.x0 < -slack or b.y0 < -slack or b.x1 > box.width + slack or b.y1 > box.height + slack
    ]
