"""What a sheet looks like, measured: words of a page that lie on each other, redraws of the map in a browser."""

import numpy as np

# each redraw until its pixels are there: reading one back waits for the drawing to be done
TIMED = """() => {
  const frame = window.requestAnimationFrame.bind(window), pen = document.getElementById('drawing').getContext('2d');
  window.took = [];
  window.requestAnimationFrame = draw => frame(at => {
    const start = performance.now();
    draw(at);
    pen.getImageData(0, 0, 1, 1);
    window.took.push(performance.now() - start);
  });
}"""


def words_apart_and_inside(figure, texts):
    """Every word within its page, none on another by more than a dot."""
    render = figure.canvas.get_renderer()
    boxes = np.array([one.get_window_extent(render).extents for one in texts])
    wide, high = figure.canvas.get_width_height()
    assert (boxes[:, :2] >= 0.0).all()
    assert (boxes[:, 2:] <= (wide, high)).all()
    apart = (boxes[:, None, :2] + 1.0 >= boxes[None, :, 2:]) | (
        boxes[None, :, :2] + 1.0 >= boxes[:, None, 2:]
    )
    both = np.argwhere(np.triu(~apart.any(axis=2), 1))
    assert not len(both), [(texts[a].get_text(), texts[b].get_text()) for a, b in both]
