"""Finished work: the records of revisions, sheets, the board, revision numbers, what is kept, and the ledger."""
