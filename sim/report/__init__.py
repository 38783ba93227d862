"""What is told about a face afterwards: figures and pages. The only room that draws with matplotlib."""
