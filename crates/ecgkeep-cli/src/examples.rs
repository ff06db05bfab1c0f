//! An example for every command, as its help and its manual page show it. A test runs every line as a shell does, in a folder with
//! the demonstration recordings, and for `archive` with an archive of them, a schedule and a filing that puts a patient right.

pub const DETECT: &str = "\
Example: what are the files of this folder?
  ecgkeep detect lm01_faultless.hea lm02_flat_lead.hea";

pub const SHOW: &str = "\
Examples: the recording in words; its samples in microvolts for a spreadsheet
  ecgkeep show lm01_faultless.hea
  ecgkeep show lm01_faultless.hea --samples > samples.csv";

pub const CONVERT: &str = "\
Examples: one recording; what would be lost in another format; a whole folder; one file for all
  ecgkeep convert lm01_faultless.hea lm01.json
  ecgkeep convert lm01_faultless.hea lm01.scp --dry-run
  ecgkeep convert . --to aecg --into copies
  ecgkeep convert lm01_faultless.hea lm03_mains_hum.hea -o both.json";

pub const COMPARE: &str = "\
Example: is the copy the same recording?
  ecgkeep convert lm02_flat_lead.hea lm02.json
  ecgkeep compare lm02_flat_lead.hea lm02.json";

pub const CHECK: &str = "\
Examples: one recording; a file that cannot name its patient, with what a person supplies beside it
  ecgkeep check lm01_faultless.hea
  ecgkeep check lm10_bare.hea --filing lm10_bare.filing.toml";

pub const REPORT: &str = "\
Examples: one page; every recording of a folder as PDF
  ecgkeep report lm01_faultless.hea -o lm01.svg
  ecgkeep report . --filing . --into pages --form pdf";

pub const SEAL: &str = "\
Examples: one bundle; one for every recording of a folder, filings beside them
  ecgkeep seal lm01_faultless.hea -o lm01.zip
  ecgkeep seal . --filing . --into sealed";

pub const UNPACK: &str = "\
Example: the files of a bundle, to look at
  ecgkeep seal lm03_mains_hum.hea -o lm03.zip
  ecgkeep unpack lm03.zip --into unpacked";

pub const VERIFY: &str = "\
Example: is the bundle as it was sealed?
  ecgkeep seal lm04_wander.hea -o lm04.zip
  ecgkeep verify lm04.zip";

pub const FORMATS: &str = "\
Example: which formats, and which options has each when it is written?
  ecgkeep formats";

pub const EXPLAIN: &str = "\
Examples: every code; one of them; every threshold as a policy file to change
  ecgkeep explain
  ecgkeep explain lead-flat
  ecgkeep explain --shipped-policy > policy.toml";

pub const COMPLETIONS: &str = "\
Example: completions for bash, for one user
  ecgkeep completions bash > ecgkeep.bash";

pub const MANUAL: &str = "\
Examples: read the page of a command; install all pages for one user
  ecgkeep manual convert | man -l -
  ecgkeep manual --into share/man/man1";

pub const ARCHIVE_NEW: &str = "\
Example: an empty archive
  ecgkeep archive new records --by records-1";

pub const ARCHIVE_ADD: &str = "\
Examples: a folder into a new archive; one recording more, the output kept as a log
  ecgkeep archive add --new archive . --filing . --by clerk-1 --show-identity
  ecgkeep archive add archive lm01_faultless.hea --by clerk-1 > log";

pub const ARCHIVE_FIND: &str = "\
Examples: by name; by what the checks found; without a name among the processes of the machine
  ecgkeep archive find archive --name tallow
  ecgkeep archive find archive --finding duration
  echo 'identifier = \"LM-240103\"' > query.toml; ecgkeep archive find archive --query - < query.toml";

pub const ARCHIVE_LIST: &str = "\
Example: what has not reached its receiver, the most urgent first
  ecgkeep archive list archive --unsent";

pub const ARCHIVE_GET: &str = "\
Examples: the page; the files as they were received
  ecgkeep archive get archive dd899ff9 -o page.pdf --by clerk-1
  ecgkeep archive get archive dd899ff9 --into original --by clerk-1";

pub const ARCHIVE_VERIFY: &str = "\
Examples: every byte; a thirtieth part each day; against a checkpoint that was kept elsewhere
  ecgkeep archive verify archive
  ecgkeep archive verify archive --level deep --part 3/30
  cp archive/checkpoints/latest.note elsewhere.note
  ecgkeep archive verify archive --level quick --against elsewhere.note";

pub const ARCHIVE_CORRECT: &str = "\
Example: the recording was of another person (what is right stands in right.toml)
  ecgkeep archive correct archive dd899ff9 --filing right.toml --reason wrong-patient \\
    --authorised-by lead-2 --into notices --by clerk-1";

pub const ARCHIVE_EXPORT: &str = "\
Examples: everything that waits, for the ward to fetch; copies without identity for a study
  ecgkeep archive export archive --unsent --into out --receiver ward-3 --by clerk-1
  ecgkeep archive export archive dd899ff9 --deidentify --pseudonym-table table --to wfdb \\
    --page svg --into study --receiver study-7 --by clerk-1";

pub const ARCHIVE_ACKNOWLEDGE: &str = "\
Example: the ward's answer came as a file
  ecgkeep archive export archive dd899ff9 --into out --receiver ward-3 --by clerk-1
  echo received > answer
  ecgkeep archive acknowledge archive dd899ff9 --receipt answer --by clerk-1";

pub const ARCHIVE_RECONCILE: &str = "\
Example: which of today's orders were never filed?
  echo order > orders.csv; echo LM-260302-0920 >> orders.csv
  ecgkeep archive reconcile archive --expected orders.csv";

pub const ARCHIVE_HOLD: &str = "\
Example: keep a recording while a case is open
  ecgkeep archive hold archive dd899ff9 --authority case-17 --by records-1";

pub const ARCHIVE_RELEASE: &str = "\
Example: the case is closed
  ecgkeep archive hold archive dd899ff9 --authority case-17 --by records-1
  ecgkeep archive release archive dd899ff9 --authority case-17 --by records-1";

pub const ARCHIVE_DUE: &str = "\
Example: what may be destroyed under the schedule that was adopted
  ecgkeep archive schedule archive --adopt schedule.toml --authorised-by board --by records-1
  ecgkeep archive due archive";

pub const ARCHIVE_DESTROY: &str = "\
Example: what must be there before: a schedule, and the keys of two people
  ecgkeep archive schedule archive --adopt schedule.toml --authorised-by board --by records-1
  ecgkeep archive keys --make one.key --name records-1
  ecgkeep archive keys --make two.key --name records-2
  ecgkeep archive keys archive --admit one.key.pub --by records-1
  ecgkeep archive keys archive --admit two.key.pub --by records-1
Then, once `archive due` lists a recording, the request, two signatures, and the act:
  ecgkeep archive destroy archive dd899ff9 --rule adult-10 --write request
  ecgkeep archive destroy archive --sign request --with one.key
  ecgkeep archive destroy archive --sign request --with two.key
  ecgkeep archive destroy archive --perform request --by records-1";

pub const ARCHIVE_REPAIR: &str = "\
Example: from a copy of the whole folder
  cp -r archive copy
  ecgkeep archive repair archive --from copy --by records-1";

pub const ARCHIVE_REBUILD: &str = "\
Example: the catalogue is only an index
  rm archive/catalogue.sqlite
  ecgkeep archive rebuild archive";

pub const ARCHIVE_KEYS: &str = "\
Examples: make a key, admit it, list what was admitted
  ecgkeep archive keys --make one.key --name records-1
  ecgkeep archive keys archive --admit one.key.pub --by records-1
  ecgkeep archive keys archive";

pub const ARCHIVE_SCHEDULE: &str = "\
Examples: adopt a schedule; show the one in force
  ecgkeep archive schedule archive --adopt schedule.toml --authorised-by board --by records-1
  ecgkeep archive schedule archive";
