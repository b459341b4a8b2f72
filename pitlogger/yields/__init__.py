"""From weights to the next job: ledger, learning, purchase, schedule, price.

Pure functions over masses and past pieces; nothing here opens a file, reads a clock or
waits. Import the module needed: those that answer at once load no heavy library.
"""
