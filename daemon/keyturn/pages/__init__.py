"""The HTML pages: sheet, board, card and rejects page."""
