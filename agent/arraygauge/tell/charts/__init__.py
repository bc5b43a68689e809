"""Charts as SVG text, made on the server: no script, no style attribute, no id.

Each fills the width of what it stands in. Its height, its text and its strokes keep their size:
places across are per cent. What stands beside the plot is drawn outside of the SVG's box, in the
margin that ``charts.css`` keeps free for it.
"""
