"""One vocabulary for the answer to a question: blocks to read, data for programs, files."""
