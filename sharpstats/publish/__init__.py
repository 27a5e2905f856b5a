"""From a trial folder to a report folder: notebook, web page, figures, results and data."""
