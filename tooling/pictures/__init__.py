"""Pictures as shapes in millimetres; svg.py and pdf.py paint the same shapes."""
