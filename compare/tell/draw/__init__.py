"""Drawing: lines, labels and marks as SVG, as PNG and on the photo."""
