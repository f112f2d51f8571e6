"""The pictures of a finding drawn: SVG for pages and files, other formats through Matplotlib.

Flow: analysis.pictures, analysis.course, days -> HERE -> dashboard pages, explain, review.
Never: figures of its own.
"""
