"""The bench as a local page: the same files, functions and words as the command line, for hands on a mouse or a phone.

A Starlette application on this machine alone. Pages are made here by templates, htmx swaps pieces of them; what a truck
weighs and where it tips is worked out by ``models``, never in the browser.
"""
