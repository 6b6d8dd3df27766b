"""Finished work: papers, revision numbers, what is kept, and the ledger."""
