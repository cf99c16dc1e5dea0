use moldvet::{mesh::{self,*}, units::Unit};
fn main(){
 let f=std::env::args().nth(1).unwrap();
 let m=mesh::read(std::path::Path::new(&f), Unit::Mm, &Limits::default()).unwrap();
 let b=&m.bodies[0]; let mesh=&b.mesh;
 let c=Creases::read(mesh,&b.topology,30.0,m.rounding);
 let mut n=0;
 for (e,edge) in b.topology.edges.iter().enumerate(){
  if !c.smooth[e] && c.turn_deg[e]>0.0 { n+=1; if n%700==1 {
    let (a,Some(bb))=edge.triangles else {continue};
    println!("turn {:.3} len {:.3}", c.turn_deg[e], (mesh.vertices[edge.vertices[0] as usize]-mesh.vertices[edge.vertices[1] as usize]).norm());
    for t in [a,bb]{ let cs=mesh.corners(t as usize); print!("   tri {t} area {:.4}: ",mesh.area(t as usize));
      for k in 0..3 { let s=b.topology.sides[t as usize][k]; print!(" len {:.3} turn {:.3} sm {};", (cs[(k+1)%3]-cs[k]).norm(), c.turn_deg[s as usize], c.smooth[s as usize]); } println!(); }
  }}
 }
 println!("{n} of {}", b.topology.edges.len());
}
