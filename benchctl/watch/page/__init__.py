"""The live page: a small web server on this computer, who may ask it, and the files of the page."""
