-- A store as the first release of the schema left it (step 1), with invented data: written by that release, dumped as
-- text. Runs on SQLite and on PostgreSQL. Never changed: the schema must always come up from here.
CREATE TABLE calls (id TEXT PRIMARY KEY, key TEXT NOT NULL UNIQUE, machine_id TEXT NOT NULL, machine TEXT NOT NULL, complaint TEXT NOT NULL, header TEXT NOT NULL, state TEXT NOT NULL, outcome TEXT NOT NULL, revision INTEGER NOT NULL, opened_at TEXT NOT NULL, opened_by TEXT NOT NULL, last_at TEXT NOT NULL, invented BOOLEAN NOT NULL);
INSERT INTO "calls" VALUES('old-call-a','form-a','unit-7','Unit 7 (invented)','no-flow','{"complaint":"no-flow","format":1,"machine":{"circuits":2,"name":"Unit 7 (invented)"},"qualified":["electrical"],"words":"he said \"role\":\"customer\", I think; 100% sure?"}','open','',4,'2026-03-02T08:00:00+00:00','Ann Example','2026-03-02T08:05:00+00:00',FALSE);
INSERT INTO "calls" VALUES('old-call-b','form-b','','Unit 8 (invented)','low-suction','{"complaint":"low-suction","format":1,"machine":{"name":"Unit 8 (invented)"},"role":"customer"}','closed','handed-over',3,'2026-03-02T08:00:00+00:00','Cy Example','2026-03-02T08:11:00+00:00',FALSE);
CREATE TABLE events (call_id TEXT NOT NULL REFERENCES calls (id), number INTEGER NOT NULL, kind TEXT NOT NULL, key TEXT NOT NULL, body TEXT NOT NULL, "by" TEXT NOT NULL, at TEXT NOT NULL, PRIMARY KEY (call_id, number), CONSTRAINT events_once UNIQUE (call_id, key));
INSERT INTO "events" VALUES('old-call-a',1,'entry','k1','{"at":"2026-03-02T08:02:00+00:00","quantity":"pump_suction","value":"12,5 psig"}','Ann Example','2026-03-02T08:02:00+00:00');
INSERT INTO "events" VALUES('old-call-a',2,'entry','k2','{"at":"2026-03-02T08:03:00+00:00","note":"it''s odd: <b>50 %</b> \u2603"}','Bo Example','2026-03-02T08:03:00+00:00');
INSERT INTO "events" VALUES('old-call-a',3,'undo','u1','{"of":2}','Bo Example','2026-03-02T08:04:00+00:00');
INSERT INTO "events" VALUES('old-call-a',4,'skip','s1','{"check":"valve-handles","place":"unit"}','Ann Example','2026-03-02T08:05:00+00:00');
INSERT INTO "events" VALUES('old-call-b',1,'entry','k1','{"at":"2026-03-02T08:09:00+00:00","note":"waited"}','Cy Example','2026-03-02T08:09:00+00:00');
INSERT INTO "events" VALUES('old-call-b',2,'amend','m1','{"words":"now it hums"}','Cy Example','2026-03-02T08:10:00+00:00');
INSERT INTO "events" VALUES('old-call-b',3,'close','c1','{"note":"to a technician","outcome":"handed-over"}','Cy Example','2026-03-02T08:11:00+00:00');
CREATE TABLE machines (id TEXT PRIMARY KEY, card TEXT NOT NULL, invented BOOLEAN NOT NULL, added_at TEXT NOT NULL, added_by TEXT NOT NULL);
INSERT INTO "machines" VALUES('unit-7','{"circuits":2,"name":"Unit 7 (invented)","refrigerant":"R-410A"}',FALSE,'2026-03-02T08:00:00+00:00','Ann Example');
INSERT INTO "machines" VALUES('unit-8','{"name":"Unit 8 (invented)"}',TRUE,'2026-03-02T08:00:00+00:00','demonstration');
CREATE TABLE schema_steps (
	number INTEGER NOT NULL, 
	title TEXT NOT NULL, 
	at TEXT NOT NULL, 
	PRIMARY KEY (number)
);
INSERT INTO "schema_steps" VALUES(1,'machines, calls, events','2026-03-01T08:00:00Z');
CREATE INDEX calls_by_state ON calls (state, last_at);
CREATE INDEX calls_by_machine ON calls (machine_id, opened_at);
