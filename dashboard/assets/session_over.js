// A session that is over answers no part of a page: go and sign in, and come back to this one.
(() => {
  const ask = window.fetch;
  window.fetch = async (...what) => {
    const answer = await ask(...what);
    if (answer.status !== 401) return answer;
    const here = window.location.pathname + window.location.search;
    window.location.assign(`/sign-in?next=${encodeURIComponent(here)}`);
    return new Promise(() => {}); // the page goes: nothing of it is to call this a failure
  };
})();
