//! Rooms and who is in them: every job and every drill that is open has a thread of its own, so that one that thinks holds
//! up no other.

use super::desk::Desk;
use super::drill::Bout;
use super::gate::Gate;
use super::page::{self, Place};
use super::room::{Asked, Chosen, Reply, Room, Took, Wish};
use super::timed::{Timed, Watch};
use super::{Request, front, random_word};
use crate::access::AccessGraph;
use crate::case::{Case, text};
use crate::decision::Settings;
use crate::drill::Drill;
use crate::drill::draw::{Draw, draw};
use crate::interview::advisor::Library;
use crate::interview::drill::{self, Coach, Session};
use crate::interview::history::Standing;
use crate::interview::step::Bench;
use crate::knowledge::Knowledge;
use crate::knowledge::layout::Laid;
use crate::report::{Figures, words};
use crate::store;
use jiff::{Timestamp, ZonedDateTime};
use std::collections::BTreeMap;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, SendError, Sender};
use std::thread::{self, Scope};

/// How many rooms may be open; beyond it the one that was left alone longest is closed. A job that is closed is gone on
/// with from its file.
const MOST_ROOMS: usize = 128;
/// The stack of a room: inference goes deep.
const STACK: usize = 16 << 20;

/// What all that is served has in common.
pub struct Shop<'a> {
    /// The knowledge base.
    pub knowledge: &'a Knowledge,
    /// Its graph of disassembly.
    pub graph: &'a AccessGraph,
    /// How numbers are shown.
    pub figures: &'a Figures,
    /// How advice is given.
    pub settings: Settings,
    /// Whether the layout is given and need not be asked.
    pub layout_known: bool,
    /// Which jobs.
    pub jobs: Jobs,
    /// What every new job begins as.
    pub blank: Case,
    /// The time now.
    pub clock: fn() -> Option<Timestamp>,
}

/// Which jobs are served.
#[derive(Clone, Debug)]
pub enum Jobs {
    /// This one, kept in this file: as it was read, or a new one.
    One(Box<Case>, PathBuf),
    /// All of a folder, and new ones.
    Folder(PathBuf),
}

impl Jobs {
    /// The room that the front leads to by itself, where there is only one.
    #[must_use]
    pub fn only(&self) -> Option<Room> {
        match self {
            Self::One(_, path) => Some(Room::Job(name_of(path))),
            Self::Folder(_) => None,
        }
    }
}

/// The name of a job: its file's, without the ending.
fn name_of(path: &Path) -> String {
    path.file_stem().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

/// A job to open: its file, and where it is a new one or was read already, the case.
struct Job {
    path: PathBuf,
    case: Option<Case>,
}

/// Somebody in a room, and when they were last asked.
struct Open {
    sender: Sender<Asked>,
    last: u64,
}

/// The rooms that are open.
struct Hall<'scope, 'env, 'a> {
    scope: &'scope Scope<'scope, 'env>,
    shop: &'env Shop<'a>,
    gate: &'env Gate,
    rooms: BTreeMap<Room, Open>,
    /// Counts requests: what orders rooms by when they were last asked.
    count: u64,
    /// Tells the turns of this run from those of another.
    run: String,
    /// Whether the one job that is served was opened: what was read of it at the beginning is old then.
    opened: bool,
}

/// Leads every request to its room until the page is closed.
pub(super) fn run(shop: &Shop<'_>, run: String, requests: Receiver<Request>) {
    let gate = Gate::new(thread::available_parallelism().map_or(1, NonZeroUsize::get));
    thread::scope(|scope| {
        let mut hall = Hall { scope, shop, gate: &gate, rooms: BTreeMap::new(), count: 0, run, opened: false };
        for request in requests {
            match request {
                Request::Close => break,
                Request::Ask(room, asked) => hall.lead(&room, asked),
            }
        }
        // The rooms end when nobody can ask them any more.
    });
}

impl<'scope> Hall<'scope, '_, '_> {
    fn lead(&mut self, room: &Room, asked: Asked) {
        self.count += 1;
        if *room == Room::Front {
            return asked.answer(Took::default, |wish| self.front(wish));
        }
        let asked = match self.send(room, asked) {
            Ok(()) => return,
            Err(asked) => asked,
        };
        let opened = match (room, self.job(room)) {
            (Room::Job(_), Some(job)) => self.open_job(room, job),
            _ => Err(Reply::Nowhere(page::said("Not here", "There is no such job or drill; it may have been closed."))),
        };
        match opened {
            Err(reply) => asked.answer(Took::default, |_| reply),
            // Whoever was led to a room that closed at once is told so by the wire.
            Ok(()) => drop(self.send(room, asked)),
        }
    }

    /// Asks a room that is open; gives the request back where it is not.
    fn send(&mut self, room: &Room, asked: Asked) -> Result<(), Asked> {
        let Some(open) = self.rooms.get_mut(room) else { return Err(asked) };
        open.last = self.count;
        open.sender.send(asked).map_err(|SendError(asked)| {
            self.rooms.remove(room);
            asked
        })
    }

    /// The job of a room, where there is one: a name is only ever compared with those that are there.
    fn job(&mut self, room: &Room) -> Option<Job> {
        let Room::Job(name) = room else { return None };
        let shop = self.shop;
        match &shop.jobs {
            Jobs::One(case, path) if name_of(path) == *name => {
                let again = std::mem::replace(&mut self.opened, true) && path.exists();
                let case = (!again).then(|| case.as_ref().clone());
                Some(Job { path: path.clone(), case })
            }
            Jobs::One(..) => None,
            Jobs::Folder(folder) => {
                let cases = store::cases(folder).unwrap_or_default();
                cases.into_iter().find(|path| name_of(path) == *name).map(|path| Job { path, case: None })
            }
        }
    }

    fn open_job(&mut self, room: &Room, job: Job) -> Result<(), Reply> {
        let (shop, gate, place, run) = (self.shop, self.gate, Place::of(room), self.run_of_room());
        self.open(room, move |asked| at_a_job(shop, gate, job, place, run, asked))
    }

    fn run_of_room(&self) -> String {
        format!("{}-{}", self.run, self.count)
    }

    fn open(&mut self, room: &Room, work: impl FnOnce(Receiver<Asked>) + Send + 'scope) -> Result<(), Reply> {
        if self.rooms.len() >= MOST_ROOMS
            && let Some(oldest) = self.rooms.iter().min_by_key(|(_, open)| open.last).map(|(room, _)| room.clone())
        {
            self.rooms.remove(&oldest);
        }
        let (sender, asked) = mpsc::channel();
        let builder = thread::Builder::new().name("room".to_owned()).stack_size(STACK);
        match builder.spawn_scoped(self.scope, move || work(asked)) {
            Ok(_) => {
                self.rooms.insert(room.clone(), Open { sender, last: self.count });
                Ok(())
            }
            Err(error) => Err(Reply::Failed(page::said("It cannot be opened", &format!("{error}.")))),
        }
    }

    fn front(&mut self, wish: &Wish) -> Reply {
        match wish {
            Wish::Show => match self.shop.jobs.only() {
                Some(room) => Reply::Go(room),
                None => Reply::Page(self.list()),
            },
            Wish::NewJob { title, user } => self.new_job(title.trim(), user),
            Wish::Drills => Reply::Page(front::drills(self.count % 1000 + 1)),
            Wish::NewDrill(chosen) => self.new_drill(*chosen),
            _ => Reply::Nowhere(page::said("Not here", "There is no such page.")),
        }
    }

    /// The jobs of the folder, and those that are open and have no file yet.
    fn list(&self) -> String {
        let Jobs::Folder(folder) = &self.shop.jobs else { return String::new() };
        let paths = store::cases(folder).unwrap_or_default();
        let mut jobs: Vec<(String, String)> = paths.iter().map(|path| (name_of(path), self.stands(path))).collect();
        for room in self.rooms.keys() {
            if let Room::Job(name) = room
                && jobs.iter().all(|(known, _)| known != name)
            {
                jobs.insert(0, (name.clone(), "just begun".to_owned()));
            }
        }
        let usual = self.shop.knowledge.users.id(self.shop.blank.user);
        front::jobs(self.shop.knowledge, usual, &jobs)
    }

    /// How a case stands.
    fn stands(&self, path: &Path) -> String {
        let bytes = store::read(path).unwrap_or_default();
        let (case, _) = text::read_bytes(&name_of(path), &bytes, self.shop.knowledge);
        case.map_or_else(|| "it cannot be read".to_owned(), |case| Standing::of(self.shop.knowledge, &case).line())
    }

    fn new_job(&mut self, title: &str, user: &str) -> Reply {
        let Jobs::Folder(folder) = &self.shop.jobs else {
            return Reply::Refused(page::said("One job is served", "Begin others with: doldrum serve."));
        };
        let mut case = self.shop.blank.clone();
        if !user.is_empty() {
            match self.shop.knowledge.users.find(user) {
                Some(user) => case.user = user,
                None => return Reply::Refused(page::said("Not here", "Nobody of that name works here.")),
            }
        }
        case.title = (!title.is_empty()).then(|| title.to_owned());
        let first = store::new_case_path(folder, ZonedDateTime::now().date(), case.title.as_deref());
        // A job has no file before its first answer: its room has the name already.
        let stem = name_of(&first);
        let taken = |name: &str| {
            self.rooms.contains_key(&Room::Job(name.to_owned())) || folder.join(format!("{name}.yaml")).exists()
        };
        let names = std::iter::once(stem.clone()).chain((2..=MOST_ROOMS + 2).map(|n| format!("{stem}-{n}")));
        let Some(name) = names.into_iter().find(|name| !taken(name)) else {
            return Reply::Refused(page::said("Too many", "There are too many jobs of that name. Give it another."));
        };
        let room = Room::Job(name.clone());
        match self.open_job(&room, Job { path: folder.join(format!("{name}.yaml")), case: Some(case) }) {
            Ok(()) => Reply::Go(room),
            Err(reply) => reply,
        }
    }

    fn new_drill(&mut self, chosen: Chosen) -> Reply {
        let Ok(word) = random_word() else {
            return Reply::Failed(page::said("It cannot be opened", "The system has no random numbers."));
        };
        let room = Room::Drill(word[..16].to_owned());
        let (shop, gate, place, run) = (self.shop, self.gate, Place::of(&room), self.run_of_room());
        match self.open(&room, move |asked| at_a_drill(shop, gate, chosen, &place, run, asked)) {
            Ok(()) => Reply::Go(room),
            Err(reply) => reply,
        }
    }
}

/// One job, as long as somebody can ask.
fn at_a_job(shop: &Shop<'_>, gate: &Gate, job: Job, place: Place, run: String, asked: Receiver<Asked>) {
    let case = match job.case.map_or_else(|| read(shop, &job.path), Ok) {
        Ok(case) => case,
        Err(why) => return refuse(&asked, &page::said_in(&place, "The case cannot be read", &why)),
    };
    let library = Library::new(shop.knowledge, shop.settings.clone(), shop.figures.clone());
    let watch = Watch::new(gate);
    let advisor = Timed::new(library, &watch);
    let bench = Bench {
        knowledge: shop.knowledge,
        graph: shop.graph,
        advisor: &advisor,
        figures: shop.figures,
        layout_known: shop.layout_known,
    };
    let mut desk = Desk::new(&bench, case, job.path, run, place, shop.clock);
    for one in asked {
        one.answer(|| watch.so_far(), |wish| desk.answer(wish));
    }
}

/// Says why a room cannot be, to whoever asked first; the next one tries again.
fn refuse(asked: &Receiver<Asked>, page: &str) {
    if let Ok(one) = asked.recv() {
        one.answer(Took::default, |_| Reply::Failed(page.to_owned()));
    }
}

fn read(shop: &Shop<'_>, path: &Path) -> Result<Case, String> {
    let bytes = store::read(path).map_err(|error| error.to_string())?;
    let (case, findings) = text::read_bytes(&path.to_string_lossy(), &bytes, shop.knowledge);
    case.ok_or_else(|| findings.sorted().first().map(ToString::to_string).unwrap_or_default())
}

/// One drill, as long as somebody can ask.
fn at_a_drill(shop: &Shop<'_>, gate: &Gate, chosen: Chosen, place: &Place, run: String, asked: Receiver<Asked>) {
    let from = Draw { seed: chosen.seed, layouts: Vec::new(), symptoms: Vec::new() };
    let Some(truth) = draw(shop.knowledge, chosen.level, &from) else {
        return refuse(
            &asked,
            &page::said_in(place, "No such drill", "No job of that level was met. Take another number."),
        );
    };
    let laid = Laid::new(shop.knowledge, truth.case.craft.clone());
    let watch = Watch::new(gate);
    let begun = watch.think(|| Drill::begin(&laid, shop.graph, &truth, chosen.level, &Settings::default()));
    let drill = match begun {
        Ok(drill) => drill,
        Err(error) => {
            let why = words::trouble(&laid, &truth.case, &error);
            return refuse(&asked, &page::said_in(place, "No such drill", &why));
        }
    };
    let told = format!("{} · seed {}", chosen.level.id(), chosen.seed);
    let coach = if chosen.coach { Coach::Beside } else { Coach::Away };
    let desk = drill::Desk { figures: shop.figures, coach, told: &told };
    let mut bout = Bout::new(desk, Session::new(drill), chosen, run, place.clone(), &watch);
    for one in asked {
        one.answer(|| watch.so_far(), |wish| bout.answer(wish));
    }
}
