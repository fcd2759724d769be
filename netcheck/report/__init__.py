"""What a person (or another program) gets to see of a review: one HTML page, a text summary, SARIF.

Knows: the review and everything below it. Must not know: the command line, files that are written.
"""
