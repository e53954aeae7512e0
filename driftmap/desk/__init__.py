"""The range desk: the whole job in a browser window, over a folder of plain files."""
