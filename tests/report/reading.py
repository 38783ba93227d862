"""A page of HTML as a test reads it."""

from html.parser import HTMLParser

EMPTY = {"meta", "img", "br", "wbr", "link", "hr", "input"}


class Reader(HTMLParser):
    """Every tag with its attributes, the text, and what was left open."""

    def __init__(self, page):
        super().__init__()
        self.tags, self.text, self.open, self.faults = [], [], [], []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in EMPTY:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.faults.append((tag, self.getpos()))

    def handle_data(self, data):
        self.text.append(data)
