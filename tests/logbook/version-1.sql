-- A logbook as version 1 wrote it: one row a job, no revisions.
PRAGMA application_id = 1145848914;
PRAGMA user_version = 1;
CREATE TABLE job (
    id TEXT PRIMARY KEY,
    added TEXT NOT NULL,
    record TEXT NOT NULL
) STRICT;
INSERT INTO job VALUES ('aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa', '2026-10-01T09:00:00Z', '{"format": 1, "id": "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa", "knowledge": {"id": "small-engine", "version": "0.1.0"}, "closed": "2026-10-01T08:00:00Z", "channel": "shop", "layout": "twin", "symptoms": ["sy-no-start"], "causes": ["plug-dead@front"], "repairs": ["rm-plugs"], "end": "cured", "case": "format: 1\nknowledge: {id: small-engine}\nsymptoms: [sy-no-start]\n"}');
INSERT INTO job VALUES ('bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb', '2026-10-02T09:00:00Z', '{"format": 1, "id": "bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb", "knowledge": {"id": "small-engine", "version": "0.1.0"}, "closed": "2026-10-02T08:00:00Z", "channel": "shop", "layout": "twin", "symptoms": ["sy-no-start"], "causes": ["screen-clogged@rear"], "repairs": ["rm-plugs"], "end": "not-known", "case": "format: 1\nknowledge: {id: small-engine}\nsymptoms: [sy-no-start]\n"}');
