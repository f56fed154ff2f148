"""What the scan's benchmark is made of: webs with their truth, and the pipelines that the finder is measured against.

They lie in a folder because ``run_all.py`` runs each script beside it.
"""
