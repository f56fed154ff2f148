// A page that waits for work asks again, and is shown anew once the work is over; what it says meanwhile is kept up to date.
const again = document.querySelector('meta[name="again"]');

async function ask(seconds) {
  await new Promise((done) => setTimeout(done, seconds * 1000));
  let text = "";
  try {
    const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
    if (answer.redirected) {
      location.replace(answer.url);
      return;
    }
    text = await answer.text();
  } catch {
    ask(seconds);
    return;
  }
  const page = new DOMParser().parseFromString(text, "text/html");
  const next = page.querySelector('meta[name="again"]');
  if (!next) {
    location.reload();
    return;
  }
  const said = document.querySelectorAll('main [role="status"], main progress');
  const news = page.querySelectorAll('main [role="status"], main progress');
  if (said.length !== news.length) {
    location.reload();
    return;
  }
  said.forEach((one, at) => {
    if (one.outerHTML !== news[at].outerHTML) one.replaceWith(document.adoptNode(news[at]));
  });
  ask(Number(next.content));
}

if (again) ask(Number(again.content));
