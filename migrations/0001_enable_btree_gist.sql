-- Exclusion constraints compare bigint keys for equality beside the overlap of windows; the extension makes that one
-- index. It is trusted, so the database's owner may create it.
CREATE EXTENSION IF NOT EXISTS btree_gist;
