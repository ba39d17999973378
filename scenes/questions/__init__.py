"""One folder a question: report, text, figure, files, command."""
