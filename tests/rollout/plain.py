"""A plain greedy to compare with: what can start starts; nights in which few windows open are left out."""

from collections import Counter

from planner.rollout.jobs import Clocks, make_project
from planner.rollout.moves import order_moves
from planner.rollout.state import read_state
from planner.rollout.tasks import make_tasks

_WEEK = 7


def project_of(fleet, plan, start):
    """Return the jobs of a rollout."""
    state = read_state(fleet, plan)
    moves = order_moves(state, {})
    tasks, _ = make_tasks(state, moves.fixed, moves.order)
    ordered = [tasks[name] for name in sorted(tasks)]
    return make_project(state, ordered, moves.order.handover, moves.room, Clocks(state, start), start)


def plain_nights(project, share=0.5):
    """Return the nights of the greedy, and how many jobs it leaves: it may run into a circle of full hosts.

    A night is left out where fewer than ``share`` of the windows open that open in the fullest night of the next week.
    """
    return Greedy(project).run(share)


class Greedy:
    """What is done so far: ``night`` of each job, ``room`` that is free, ``waves`` in which sites change."""

    def __init__(self, project):
        self.project, self.room, self.night = project, dict(project.room), {}
        self.waiting, self.waves, self.last = set(range(len(project.jobs))), 0, 0

    def run(self, share):
        nights, idle, at = [], 0, self.project.nights.start
        while self.waiting and at < self.project.nights.stop and idle < 60:
            opened = [sum(bool(self.project.jobs[j].openings(n)) for j in self.waiting) for n in range(at, at + _WEEK)]
            early = self.waves == 1 and at < self.last + self.project.pilot_days
            if opened[0] and opened[0] >= share * max(opened) and not early:
                done = self.fill(at)
                idle = 0 if done else idle + 1
                nights += [at] if done else []
                self.waiting -= done
            at += 1
        return nights, len(self.waiting)

    def fill(self, night):
        jobs, done, running = self.project.jobs, set(), {}
        opened = {j: jobs[j].openings(night) for j in self.waiting}
        self.used, self.counted, self.ended = Counter(), {}, set()
        starts = {o.start for slots in opened.values() for o in slots}
        last = max((o.end for slots in opened.values() for o in slots), default=0)
        step = min(job.minutes for job in jobs)
        for now in sorted({t + k * step for t in starts for k in range((last - t) // step + 1)}):
            for j in [j for j, end in running.items() if end <= now]:
                self.end(j)
                del running[j]
            for j in sorted(self.waiting - done):
                fits = any(o.start <= now and now + jobs[j].minutes <= o.end for o in opened[j])
                if fits and self.may(j, night):
                    self.begin(j, night)
                    done.add(j)
                    running[j] = now + jobs[j].minutes
        for j in running:
            self.end(j)
        if any(jobs[j].owner for j in done):
            self.waves, self.last = self.waves + 1, night
        return done

    def may(self, j, night):
        job, project = self.project.jobs[j], self.project
        if any(n in self.waiting and n not in self.ended for n in job.needs):
            return False
        if any(self.night.get(n, night) >= night for n in job.earlier):
            return False
        if any(abs(self.night[o] - night) < d for o, d in project.apart(j).items() if o in self.night):
            return False
        if any(self.used[r] + n > project.capacity[r] for r, n in job.uses):
            return False
        if any(self.room[place] < n for place, n in job.takes if place in self.room):
            return False
        wave = self.counted.get("", set())
        if not job.owner or job.owner in wave:
            return True
        limits = [len(self.counted.get(q, ())) < project.quota[q] for q in job.quotas if q in project.quota]
        return all(limits) and len(wave) < project.size(self.waves)

    def begin(self, j, night):
        job = self.project.jobs[j]
        self.night[j] = night
        self.used.update(dict(job.uses))
        for place, n in job.takes:
            if place in self.room:
                self.room[place] -= n
        for quota in (*job.quotas, "") if job.owner else ():
            self.counted.setdefault(quota, set()).add(job.owner)

    def end(self, j):
        job = self.project.jobs[j]
        self.ended.add(j)
        self.used.subtract(dict(job.uses))
        for place, n in job.gives:
            if place in self.room:
                self.room[place] += n
