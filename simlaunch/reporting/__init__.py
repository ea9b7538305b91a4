"""The page that a customer reads.

`gather` runs every study, `story` holds the texts of the first sheet, `what_if` launches the grid behind the sliders,
`drawings` draws every figure twice (page and telephone), `page` puts it all into the template, `print_pdf` has a
browser print it. A word in a sentence that a customer may not know wants an entry in `glossary.toml`.

Notes on what was decided, and why.

Only three things are marked as safe for the template (autoescape, StrictUndefined): our own style, our own script, and
SVG that has been through an XML parser and back. JSON in the page is ASCII with `<`, `>` and `&` escaped. The policy
is `default-src 'none'` with the hashes of script and style, so a `style` attribute anywhere is dead: matplotlib's
styles become attributes of SVG, and ids are made anew per figure, in order, for stable bytes.

A line that the script moves has a `gid` that begins with `cut` or `ceiling-`; it becomes `data-line`, and `data-area`
on the SVG says where the panel stands and what its edges mean. Text is at least 12 px at 360 px, which a test measures
in the browser. The first printed sheet must hold everything up to the parts: `.first` in the print style has fixed
heights.

The PDF comes from an installed browser and not from a layout library: what is printed is what was tested, and
WeasyPrint would need Pango, which pip cannot bring. A PDF of ours ends in a comment, a page has a `generator`; both
are how our own files are known. The sliders launch the higher of the two curves at each engine speed, cut off at each
height, so that raising the slider from the lower peak to the higher one isolates what the peak is worth.
"""
