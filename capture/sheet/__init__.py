"""What is printed: marker sheet, apron, board, their PDFs, and how large the printer printed them."""
